// Making lines of the check-list.
#pragma once

#include <string>
#include <vector>

#include "implement/device.hpp"

namespace tramlog {

CheckLine make_line(const char* code, const char* topic, std::string subject, Verdict verdict, std::string text);
/// Adds a figure; chained.
CheckLine& with(CheckLine& line, const char* key, double value, int decimals = 3);
/// Keeps at most kMaxMoments.
void add_moment(CheckLine& line, Mark at, std::string text);

/// Median, and the width of the middle 90 %; values may be in any order. None if empty.
struct Spread {
  double median = 0, width90 = 0, least = 0, greatest = 0;
};
std::optional<Spread> spread_of(std::vector<double> values);

/// "0.42 s", "12 s", "3 min 20 s".
std::string seconds_words(double seconds);
/// "06:12:14.250": the time of day in UTC.
std::string time_of_day(TimeNs time);
/// "1 step", "3 steps".
std::string counted_words(std::uint64_t count, const char* one, const char* many);

}  // namespace tramlog
