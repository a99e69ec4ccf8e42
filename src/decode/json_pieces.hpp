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
    // Unsigned, so that a time before the second is far behind it.
    std::uint64_t since = static_cast<std::uint64_t>(time) - static_cast<std::uint64_t>(begin_);
    if (since >= length_) [[unlikely]] {
      new_second(time);
      since = static_cast<std::uint64_t>(time) - static_cast<std::uint64_t>(begin_);
    }
    std::memcpy(out, text_.data(), kChars);
    put_nanoseconds(out + 20, static_cast<std::uint32_t>(since) + first_ns_);
    return out + kChars;
  }

 private:
  void new_second(TimeNs time);
  static void put_nanoseconds(char* out, std::uint32_t ns);

  TimeNs begin_ = 0;            // of the second, or of all times, whichever is later
  std::uint32_t first_ns_ = 0;  // of begin_ within the second
  std::uint64_t length_ = 0;    // of what is left of the second, up to the end of all times
  std::array<char, kChars> text_{};
};

}  // namespace tramlog
