#include "base/time.hpp"

#include <fmt/format.h>

#include <chrono>

namespace tramlog {
namespace {

struct Civil {
  int year;
  unsigned month, day, hour, minute, second, nanosecond;
};

/// Rounds towards the past, so that moments before 1970 come out right down to the smallest number.
Civil civil_of(TimeNs time) {
  constexpr std::int64_t kDay = 24 * kHour;
  std::int64_t day = time / kDay;
  std::int64_t rest = time % kDay;
  if (rest < 0) {
    --day;
    rest += kDay;
  }
  const std::chrono::year_month_day date{std::chrono::sys_days{std::chrono::days{day}}};
  return {static_cast<int>(date.year()),
          static_cast<unsigned>(date.month()),
          static_cast<unsigned>(date.day()),
          static_cast<unsigned>(rest / kHour),
          static_cast<unsigned>(rest / kMinute % 60),
          static_cast<unsigned>(rest / kSecond % 60),
          static_cast<unsigned>(rest % kSecond)};
}

/// A length in a unit of `unit_ns` (1000 or more) with three significant places.
std::string three_places(std::uint64_t ns, std::uint64_t unit_ns) {
  const auto rounded = [&](std::uint64_t parts) {
    const std::uint64_t step = unit_ns / parts;
    return (ns + step / 2) / step;
  };
  if (const std::uint64_t hundredths = rounded(100); hundredths < 1000)
    return fmt::format("{}.{:02}", hundredths / 100, hundredths % 100);
  if (const std::uint64_t tenths = rounded(10); tenths < 1000)
    return fmt::format("{}.{}", tenths / 10, tenths % 10);
  return fmt::format("{}", rounded(1));
}

std::string format_length(std::uint64_t ns) {
  const std::uint64_t seconds = (ns + kSecond / 2) / kSecond;
  const std::uint64_t minutes = (ns + kMinute / 2) / kMinute;
  // Each limit is where rounding would spill into the next larger unit.
  if (ns == 0) return "0 s";
  if (ns < 1'000) return fmt::format("{} ns", ns);
  if (ns < 999'500) return three_places(ns, kMicrosecond) + " us";
  if (ns < 999'500'000) return three_places(ns, kMillisecond) + " ms";
  if (ns < 59'950'000'000) return three_places(ns, kSecond) + " s";
  if (seconds < 3600) return fmt::format("{} min {:02} s", seconds / 60, seconds % 60);
  return fmt::format("{} h {:02} min", minutes / 60, minutes % 60);
}

}  // namespace

std::string format_rfc3339(TimeNs time) {
  const Civil c = civil_of(time);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:09}Z", c.year, c.month, c.day, c.hour, c.minute,
                     c.second, c.nanosecond);
}

std::string format_date_time(TimeNs time) {
  const Civil c = civil_of(time);
  return fmt::format("{:04}-{:02}-{:02} {:02}:{:02}:{:02}.{:03}", c.year, c.month, c.day, c.hour, c.minute,
                     c.second, c.nanosecond / 1'000'000);
}

std::string format_time_of_day(TimeNs time) {
  const Civil c = civil_of(time);
  return fmt::format("{:02}:{:02}:{:02}.{:03}", c.hour, c.minute, c.second, c.nanosecond / 1'000'000);
}

std::string format_span(SpanNs span) {
  // Negated as unsigned: the smallest number has no positive twin.
  if (span < 0) return fmt::format("-{}", format_length(std::uint64_t{0} - static_cast<std::uint64_t>(span)));
  return format_length(static_cast<std::uint64_t>(span));
}

double to_seconds(SpanNs span) {
  return static_cast<double>(span) / 1e9;
}

}  // namespace tramlog
