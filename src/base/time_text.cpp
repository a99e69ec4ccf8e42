#include "base/time_text.hpp"

#include <algorithm>
#include <string>

namespace tramlog {
namespace {

constexpr auto kDigitPairs = [] {
  std::array<char, 200> pairs{};
  for (unsigned i = 0; i < 100; ++i) {
    pairs[2 * i] = static_cast<char>('0' + i / 10);
    pairs[2 * i + 1] = static_cast<char>('0' + i % 10);
  }
  return pairs;
}();

}  // namespace

void TimeText::new_second(TimeNs time) {
  const std::string text = format_rfc3339(time);
  std::memcpy(text_.data(), text.data(), kChars);
  std::uint32_t ns = 0;
  for (std::size_t i = 20; i < 29; ++i) ns = ns * 10 + static_cast<std::uint32_t>(text[i] - '0');
  begin_ = later_by(time, -static_cast<SpanNs>(ns));
  first_ns_ = ns - static_cast<std::uint32_t>(time - begin_);
  const std::uint64_t to_last = static_cast<std::uint64_t>(INT64_MAX) - static_cast<std::uint64_t>(begin_);
  length_ = std::min(static_cast<std::uint64_t>(kSecond) - first_ns_, to_last + 1);
}

void TimeText::put_nanoseconds(char* out, std::uint32_t ns) {
  const std::uint32_t high = ns / 100'000;  // 4 digits
  std::uint32_t low = ns % 100'000;         // 5 digits
  std::memcpy(out, &kDigitPairs[2 * (high / 100)], 2);
  std::memcpy(out + 2, &kDigitPairs[2 * (high % 100)], 2);
  out[4] = static_cast<char>('0' + low / 10'000);
  low %= 10'000;
  std::memcpy(out + 5, &kDigitPairs[2 * (low / 100)], 2);
  std::memcpy(out + 7, &kDigitPairs[2 * (low % 100)], 2);
}

}  // namespace tramlog
