// Many moments as text: those of the same second cost a few digits only.
#pragma once

#include <array>
#include <cstring>

#include "base/time.hpp"

namespace tramlog {

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
