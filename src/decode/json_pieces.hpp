// Pieces of JSON text. Internal to the JSON Lines.
#pragma once

#include <array>
#include <cstring>
#include <string>
#include <string_view>

#include "base/bytes.hpp"
#include "base/time.hpp"

namespace tramlog {

inline char* put(char* out, std::string_view text) {
  std::memcpy(out, text.data(), text.size());
  return out + text.size();
}

/// Decimal digits of an unsigned number; at most 20.
char* put_integer(char* out, std::uint64_t value);

/// A string in quotes; text that is no printable UTF-8 is made so (printable_utf8).
std::string json_string(std::string_view text);

/// The same for text of printable ASCII only; null, and nothing of use written, if there is anything else in
/// it. `out` has room for 2 x size + 2 characters.
char* put_plain_string(char* out, std::string_view text);

/// Lower-case hex without blanks: two characters a byte.
char* put_hex(char* out, Bytes bytes);

/// Writes moments as RFC 3339 and keeps the part up to the second.
class TimeText {
 public:
  static constexpr std::size_t kChars = 30;

  TimeText() { new_second(0); }

  /// 30 characters: "2026-04-07T06:12:00.000000000Z".
  char* put(char* out, TimeNs time) {
    std::uint64_t ns = static_cast<std::uint64_t>(time) - static_cast<std::uint64_t>(second_begin_);
    if (ns >= static_cast<std::uint64_t>(kSecond)) [[unlikely]] {
      new_second(time);
      ns = static_cast<std::uint64_t>(time) - static_cast<std::uint64_t>(second_begin_);
    }
    std::memcpy(out, text_.data(), kChars);
    put_nanoseconds(out + 20, static_cast<std::uint32_t>(ns));
    return out + kChars;
  }

 private:
  void new_second(TimeNs time);
  static void put_nanoseconds(char* out, std::uint32_t ns);

  TimeNs second_begin_ = 0;
  std::array<char, kChars> text_{};
};

}  // namespace tramlog
