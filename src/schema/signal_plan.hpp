// How to take a signal's bits out of a message and scale them; worked out once, when a file is loaded.
#pragma once

#include <cstdint>
#include <optional>

#include "base/bytes.hpp"
#include "base/decimal.hpp"
#include "schema/reading.hpp"

namespace tramlog {

struct SignalSpec;

/// What a raw value of a small signal means: its name, if any, and its validity.
struct CodeSlot {
  std::int16_t code = -1;  // index in SignalSpec::codes; -1: no name
  Validity validity = Validity::valid;
};

/// The integer of a signal ("bits") is the raw value, sign-extended for two's complement, as a 64-bit
/// pattern.
struct SignalPlan {
  enum class Path : std::uint8_t {
    plain,  // an integer whose valid values are known by their range alone
    slots,  // SignalSpec::slots tells the validity of each raw value
    close,  // everything else: names of wide signals, characters, binary fractions
  };

  std::uint64_t mask = 0;  // of the right-aligned raw value
  std::uint64_t sign = 0;  // its sign bit; 0 for unsigned
  std::uint64_t valid_first =
      0;  // bits - valid_first <= valid_span is a number within the range, unless a code names it
  std::uint64_t valid_span = 0;
  std::uint64_t scale = 1;      // exact: value = (bits x scale + shift) x 10^-decimals, modulo 2^64 ..
  std::uint64_t shift = 0;      // ..
  bool may_be_negative = true;  // .. and bit 63 of the result is its sign
  bool has_run = false;         // valid_first and valid_span hold (always on the plain path)
  bool exact = false;           // scale and shift fit for every raw value; else binary fractions
  bool fast = false;            // the 8 bytes from `byte` hold all bits
  bool big = false;             // Motorola
  Path path = Path::close;
  std::uint8_t decimals = 0;
  std::uint8_t bit = 0;           // right shift after loading
  std::uint32_t byte = 0;         // first byte to load
  std::uint32_t last_byte = 0;    // index of the last byte that holds a bit
  double factor = 1, offset = 0;  // not exact

  /// bits of a raw value.
  std::uint64_t extend(std::uint64_t raw) const { return (raw ^ sign) - sign; }
};

/// Fills signal.plan, signal.code_validity and signal.slots from the rest of the signal. `message_length` in
/// bytes only steers where loads begin.
void compile_plan(SignalSpec& signal, std::uint32_t message_length);

/// The raw value, right-aligned; none if the data ends before the signal does.
std::optional<std::uint64_t> take_raw(const SignalPlan& plan, Bytes data);

/// Physical value of a signal that is no binary fraction.
Number scaled(const SignalPlan& plan, std::uint64_t bits);

/// Validity of a raw value of a signal that is no binary fraction, by the reserved codes of its rule and its
/// range; names of codes are not looked at.
Validity validity_by_rule(const SignalSpec& signal, std::uint64_t raw);

/// What the name of a code says about the value: "not available", "no action" .. mean that there is none.
Validity validity_by_name(std::string_view text);

}  // namespace tramlog
