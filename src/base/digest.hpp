// A short word for a text, to tell whether two are equal. No protection against anybody who wants them to collide.
#pragma once

#include <cstdint>
#include <cstdio>
#include <string>
#include <string_view>

namespace tramlog {

/// 64-bit FNV-1a.
class Digest {
 public:
  void add(std::string_view text) {
    for (const char c : text) sum_ = (sum_ ^ static_cast<unsigned char>(c)) * 0x100000001b3u;
  }
  std::uint64_t value() const { return sum_; }
  /// 16 lower-case hex digits.
  std::string hex() const {
    char text[17];
    std::snprintf(text, sizeof text, "%016llx", static_cast<unsigned long long>(sum_));
    return text;
  }

 private:
  std::uint64_t sum_ = 0xcbf29ce484222325u;
};

}  // namespace tramlog
