#include "record/segment_name.hpp"

#include <fmt/format.h>

#include <chrono>
#include <limits>

namespace tramlog {
namespace {

using Seconds = std::chrono::sys_seconds;

Seconds second_of(TimeNs time) {
  return Seconds(std::chrono::floor<std::chrono::seconds>(std::chrono::nanoseconds(time)));
}

/// A number of at least `width` digits at the start of `rest`, without zeros before a longer one; taken off.
std::optional<std::uint32_t> take_number(std::string_view& rest, std::size_t width) {
  std::uint64_t value = 0;
  std::size_t digits = 0;
  while (digits < rest.size() && rest[digits] >= '0' && rest[digits] <= '9') {
    value = value * 10 + static_cast<unsigned>(rest[digits] - '0');
    if (value > std::numeric_limits<std::uint32_t>::max()) return std::nullopt;
    ++digits;
  }
  if (digits < width || (digits > width && rest[0] == '0')) return std::nullopt;
  rest.remove_prefix(digits);
  return static_cast<std::uint32_t>(value);
}

bool take_text(std::string_view& rest, std::string_view text) {
  if (!rest.starts_with(text)) return false;
  rest.remove_prefix(text.size());
  return true;
}

/// Exactly so many digits.
std::optional<unsigned> take_digits(std::string_view& rest, std::size_t digits) {
  if (rest.size() < digits) return std::nullopt;
  unsigned value = 0;
  for (const char c : rest.substr(0, digits)) {
    if (c < '0' || c > '9') return std::nullopt;
    value = value * 10 + static_cast<unsigned>(c - '0');
  }
  rest.remove_prefix(digits);
  return value;
}

/// "20261126T031500Z"
std::optional<TimeNs> take_time(std::string_view& rest) {
  const auto year = take_digits(rest, 4), month = take_digits(rest, 2), day = take_digits(rest, 2);
  if (!year || !month || !day || !take_text(rest, "T")) return std::nullopt;
  const auto hour = take_digits(rest, 2), minute = take_digits(rest, 2), second = take_digits(rest, 2);
  if (!hour || !minute || !second || !take_text(rest, "Z")) return std::nullopt;
  const std::chrono::year_month_day date(std::chrono::year(static_cast<int>(*year)),
                                         std::chrono::month(*month), std::chrono::day(*day));
  if (!date.ok() || *hour > 23 || *minute > 59 || *second > 59) return std::nullopt;
  const std::int64_t seconds = std::chrono::sys_days(date).time_since_epoch().count() * std::int64_t{86400} +
                               *hour * 3600 + *minute * 60 + *second;
  TimeNs time = 0;
  if (__builtin_mul_overflow(seconds, kSecond, &time)) {
    // The first second of all times is not whole.
    if (seconds != second_of(INT64_MIN).time_since_epoch().count()) return std::nullopt;
    time = INT64_MIN;
  }
  return time;
}

}  // namespace

std::string segment_name(const SegmentName& name) {
  const Seconds second = second_of(name.start);
  const auto day = std::chrono::floor<std::chrono::days>(second);
  const std::chrono::year_month_day date(day);
  const std::chrono::hh_mm_ss clock(second - day);
  return fmt::format("run-{:06}-{:04}-{:04}{:02}{:02}T{:02}{:02}{:02}Z.pcapng{}", name.run, name.segment,
                     static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                     static_cast<unsigned>(date.day()), clock.hours().count(), clock.minutes().count(),
                     clock.seconds().count(), name.compressed ? kPackedEnding : "");
}

std::optional<SegmentName> parse_segment_name(std::string_view rest) {
  SegmentName name;
  if (!take_text(rest, "run-")) return std::nullopt;
  const auto run = take_number(rest, 6);
  if (!run || !take_text(rest, "-")) return std::nullopt;
  const auto segment = take_number(rest, 4);
  if (!segment || !take_text(rest, "-")) return std::nullopt;
  const auto start = take_time(rest);
  if (!start || !take_text(rest, ".pcapng")) return std::nullopt;
  name = {*run, *segment, *start, take_text(rest, kPackedEnding)};
  if (!rest.empty()) return std::nullopt;
  return name;
}

}  // namespace tramlog
