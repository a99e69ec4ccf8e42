#include "base/time_bound.hpp"

#include <chrono>

namespace tramlog {
namespace {

constexpr SpanNs kDay = 24 * kHour;
// A time of day up to so long before the start means the time before it; an earlier one the next day.
constexpr SpanNs kBeforeStart = 6 * kHour;

/// Reads a text from its front; each step returns false if what it wants is not there.
class Scanner {
 public:
  explicit Scanner(std::string_view text) : rest_(text) {}

  bool done() const { return rest_.empty(); }
  bool skip(char c) {
    if (rest_.empty() || rest_.front() != c) return false;
    rest_.remove_prefix(1);
    return true;
  }
  /// Exactly `digits` digits, or one to `digits` of them.
  bool number(std::size_t least, std::size_t most, std::int64_t& value) {
    std::size_t count = 0;
    value = 0;
    while (count < most && count < rest_.size() && rest_[count] >= '0' && rest_[count] <= '9')
      value = value * 10 + (rest_[count++] - '0');
    if (count < least) return false;
    rest_.remove_prefix(count);
    return true;
  }
  /// ".5" or ",5": nanoseconds of a second, nothing if it is not there; digits behind the ninth are dropped.
  bool fraction(std::int64_t& ns) {
    ns = 0;
    if (!skip('.') && !skip(',')) return true;
    std::int64_t place = kSecond / 10;
    std::size_t count = 0;
    for (; !rest_.empty() && rest_.front() >= '0' && rest_.front() <= '9'; ++count, place /= 10) {
      ns += (rest_.front() - '0') * place;
      rest_.remove_prefix(1);
    }
    return count > 0;
  }

 private:
  std::string_view rest_;
};

/// "06:12", "06:12:41", "06:12:41.3" up to the end or a Z.
bool time_of_day(Scanner& scanner, std::int64_t& ns) {
  std::int64_t hour = 0, minute = 0, second = 0, fraction = 0;
  if (!scanner.number(1, 2, hour) || !scanner.skip(':') || !scanner.number(2, 2, minute)) return false;
  if (scanner.skip(':') && (!scanner.number(2, 2, second) || !scanner.fraction(fraction))) return false;
  scanner.skip('Z');
  ns = hour * kHour + minute * kMinute + second * kSecond + fraction;
  return scanner.done() && hour < 24 && minute < 60 && second < 60;
}

std::optional<TimeBound> parse_moment(std::string_view text) {
  Scanner scanner(text);
  std::int64_t year = 0, month = 0, day = 0, ns = 0;
  if (!scanner.number(4, 4, year) || !scanner.skip('-') || !scanner.number(2, 2, month) ||
      !scanner.skip('-') || !scanner.number(2, 2, day))
    return std::nullopt;
  if (!scanner.done() && (!(scanner.skip('T') || scanner.skip(' ')) || !time_of_day(scanner, ns)))
    return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{static_cast<int>(year)},
                                         std::chrono::month{static_cast<unsigned>(month)},
                                         std::chrono::day{static_cast<unsigned>(day)}};
  if (!date.ok()) return std::nullopt;
  const std::int64_t days = std::chrono::sys_days{date}.time_since_epoch().count();
  std::int64_t moment = 0;  // only 1677 to 2262 can be told in nanoseconds
  if (__builtin_mul_overflow(days, kDay, &moment) || __builtin_add_overflow(moment, ns, &moment))
    return std::nullopt;
  return TimeBound{TimeBound::Kind::moment, moment};
}

std::optional<TimeBound> parse_from_start(std::string_view text) {
  SpanNs unit = kSecond;
  if (!text.empty()) {
    const char last = text.back();
    if (last == 'h') unit = kHour;
    if (last == 'm') unit = kMinute;
    if (last == 's' || last == 'm' || last == 'h') text.remove_suffix(1);
  }
  Scanner scanner(text);
  std::int64_t whole = 0, fraction = 0, ns = 0;
  if (!scanner.number(1, 12, whole) || !scanner.fraction(fraction) || !scanner.done()) return std::nullopt;
  // 12.5 h: the fraction is of the unit, which is at most 3600 s.
  fraction *= unit / kSecond;
  if (__builtin_mul_overflow(whole, unit, &ns) || __builtin_add_overflow(ns, fraction, &ns))
    return std::nullopt;
  return TimeBound{TimeBound::Kind::from_start, ns};
}

}  // namespace

TimeNs TimeBound::resolve(TimeNs start) const {
  if (kind == Kind::moment) return ns;
  if (kind == Kind::from_start) return later_by(start, ns);
  const std::int64_t into_day = (start % kDay + kDay) % kDay;
  return later_by(start, ns >= into_day - kBeforeStart ? ns - into_day : ns - into_day + kDay);
}

Result<TimeBound> parse_time_bound(std::string_view text, std::string_view option) {
  if (const auto moment = parse_moment(text)) return *moment;
  Scanner scanner(text);
  std::int64_t ns = 0;
  if (time_of_day(scanner, ns)) return TimeBound{TimeBound::Kind::time_of_day, ns};
  if (const auto from_start = parse_from_start(text)) return *from_start;
  return Error{ErrorKind::usage, "\"" + std::string(text) + "\" is no time", std::string(option),
               "give a time of day (06:12:41.3, UTC), a date and time (2026-04-07T06:12:41Z) or seconds from "
               "the start (12.5)"};
}

}  // namespace tramlog
