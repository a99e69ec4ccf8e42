// One day out of captures of several: two days are no recording of one, and what lies between them is no
// silence of anybody.
#pragma once

#include <string>
#include <vector>

#include "base/result.hpp"
#include "tool/day_files.hpp"

namespace tramlog {

struct DayQuestion {
  std::string day;     // the date that the user gave: "2026-04-12"; empty: none
  std::string option;  // that gives it: "--day"
  std::string where;   // what the user named
  std::string whose;   // "the side before has recordings": in front of "of 3 days"
};

/// "2026-04-07, 2026-04-08": the latest ten.
std::string dates_words(const SortedDays& sorted);
/// A usage error that lists the days, if there is none of that date.
Result<std::vector<std::string>> captures_of_day(const SortedDays& sorted, const DayQuestion& question);

/// Leaves of the captures (files; folders are unfolded already) those of the day that was asked for. None was
/// asked for: nothing changes, but captures of several days are a usage error that lists them. What cannot be
/// read twice (a pipe) is not looked at. `damaged`: some file was left out because it could not be read; told
/// already.
std::optional<Error> choose_day(std::vector<std::string>& captures, const DayQuestion& question,
                                bool& damaged);

}  // namespace tramlog
