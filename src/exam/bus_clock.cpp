#include "exam/bus_clock.hpp"

#include <algorithm>
#include <chrono>

#include "base/bytes.hpp"

namespace tramlog {
namespace {

constexpr Pgn kTimeDate = 65254, kSystemTime = 126992;
constexpr SpanNs kDay = 24 * kHour;
constexpr unsigned kOffsetNotGiven = 249;      // 124 h: the time is UTC
constexpr unsigned kOffsetZero = 125;          // raw value of 0 h
constexpr unsigned kLargestOffset = 23;        // h
constexpr std::uint8_t kLastClockOfTrust = 4;  // 5 is a local crystal
constexpr std::uint16_t kLastDay = 64255;
// A source that is not heard for this long gives way to another one.
constexpr SpanNs kStale = kMinute;

}  // namespace

std::optional<TimeNs> parse_time_date(Bytes data) {
  if (data.size() < 8) return std::nullopt;
  const unsigned quarters = data[0], minutes = data[1], hours = data[2], month = data[3], day = data[4], year = data[5],
                 offset = data[7];
  if (quarters >= 240 || minutes >= 60 || hours >= 24 || month < 1 || month > 12 || day < 1 || day > 127 || year > 250)
    return std::nullopt;
  const bool told = offset >= kOffsetZero - kLargestOffset && offset <= kOffsetZero + kLargestOffset;
  if (!told && offset != kOffsetNotGiven) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year(1985 + static_cast<int>(year)), std::chrono::month(month),
                                         std::chrono::day((day + 3) / 4)};
  if (!date.ok()) return std::nullopt;
  const std::int64_t days = std::chrono::sys_days(date).time_since_epoch().count();
  return days * kDay + hours * kHour + minutes * kMinute + quarters * kSecond / 4;
}

std::optional<TimeNs> parse_system_time(Bytes data) {
  if (data.size() < 8) return std::nullopt;
  if ((data[1] & 0x0F) > kLastClockOfTrust) return std::nullopt;
  const unsigned days = load_le16(data.data() + 2);
  const std::uint32_t tenths_of_ms = load_le32(data.data() + 4);
  if (days > kLastDay || tenths_of_ms >= 864'000'000) return std::nullopt;
  return days * kDay + static_cast<SpanNs>(tenths_of_ms) * 100'000;
}

void BusClock::take(const Message& message) {
  const auto told = message.pgn == kSystemTime ? parse_system_time(message.data) : parse_time_date(message.data);
  if (!told) return;
  const SpanNs offset = span_between(message.end, *told);
  const Mark at{message.end, message.last_frame};
  const bool same = best_ && best_->bus == message.bus && best_->pgn == message.pgn && best_->source == message.source;
  if (!same) {
    const bool better = !best_ || (message.pgn == kSystemTime && best_->pgn != kSystemTime) ||
                        span_between(best_->last.time, message.end) > kStale;
    if (!better) return;
    best_ = ClockComparison{message.bus, message.pgn, message.source, 1, at, at, offset, offset, offset, offset};
    return;
  }
  ++best_->count;
  best_->last = at;
  best_->last_offset = offset;
  best_->least = std::min(best_->least, offset);
  best_->greatest = std::max(best_->greatest, offset);
}

}  // namespace tramlog
