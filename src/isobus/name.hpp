// NAME of a control function, 64 bits (ISO 11783-5; fact sheet, network and diagnostics, 2.1 to 2.5).
#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/bytes.hpp"

namespace tramlog {

class Name {
 public:
  constexpr Name() = default;
  constexpr explicit Name(std::uint64_t raw) : raw_(raw) {}
  /// The eight data bytes of an address claim, B1 = NAME bits 0-7.
  static Name from_claim(const std::uint8_t* bytes) { return Name(load_le64(bytes)); }
  /// Sixteen hex digits, either case; nothing if it is anything else.
  static std::optional<Name> from_hex(std::string_view text);

  constexpr std::uint64_t raw() const { return raw_; }
  constexpr std::uint32_t identity_number() const { return field(0, 21); }
  constexpr std::uint32_t manufacturer_code() const { return field(21, 11); }
  constexpr std::uint32_t ecu_instance() const { return field(32, 3); }
  constexpr std::uint32_t function_instance() const { return field(35, 5); }
  constexpr std::uint32_t function() const { return field(40, 8); }
  constexpr std::uint32_t device_class() const { return field(49, 7); }
  constexpr std::uint32_t device_class_instance() const { return field(56, 4); }
  constexpr std::uint32_t industry_group() const { return field(60, 3); }
  constexpr bool self_configurable_address() const { return field(63, 1) != 0; }

  /// Sixteen lower-case hex digits.
  std::string hex() const;
  /// Same job, maybe another box: all but identity number and bit 63 equal (fact sheet 2.1).
  constexpr bool same_job(Name other) const { return ((raw_ ^ other.raw_) & 0x7FFFFFFFFFE00000ull) == 0; }

  /// The lower NAME wins an address.
  constexpr auto operator<=>(const Name&) const = default;

 private:
  constexpr std::uint32_t field(unsigned bit, unsigned width) const {
    return static_cast<std::uint32_t>(raw_ >> bit & ((1ull << width) - 1));
  }
  std::uint64_t raw_ = 0;
};

/// Terms of the standard; where the sources give none, the number: "function 200", "device class 18".
std::string industry_group_term(std::uint32_t group);
std::string device_class_term(std::uint32_t group, std::uint32_t device_class);
std::string function_term(Name name);

}  // namespace tramlog
