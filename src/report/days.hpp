// Several days in one overview: each day in a line, and the same trouble counted across days. A day is
// reduced to a small record before the next one is examined.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "report/format.hpp"

namespace tramlog {

/// One kind of trouble of one day: of a controller, a finding's cause, a trouble code.
struct DayTrouble {
  std::string key;     // the same on every day: for counting
  std::string words;   // "metering front: dropouts"
  std::string latest;  // a sentence of that day, with its times
  unsigned weight =
      0;  // greater is told first: who is missing, before what caused it, before what else was told
  std::size_t count = 1;
  TimeNs first = 0, last = 0;
};

struct DayRecord {
  std::string date;  // "2026-11-24": UTC date of its beginning
  TimeNs start = 0, end = 0;
  std::string machine;
  std::vector<std::string> captures;  // names without folders, or fingerprints; at most kDayCaptures
  std::size_t capture_count = 0;
  std::uint64_t frames = 0;
  SpanNs worked = 0;  // driving or working, as the story of the day tells it
  SpanNs blind = 0;
  MachineRecord hours;
  std::size_t controllers = 0, dropouts = 0, faults = 0, warnings = 0, notes = 0;
  bool wrong = false, damaged = false;
  std::string main;  // the main finding, else the first loose fault; empty: none
  std::string step;  // and what to do first
  std::vector<DayTrouble> troubles;
};
inline constexpr std::size_t kDayCaptures = 100, kDayTroubles = 500;

DayRecord day_record(const Report& report, const std::string& date);

/// The same trouble on several days.
struct AcrossDays {
  std::string words, latest;
  unsigned weight = 0;
  std::vector<std::string> dates;
  std::size_t count = 0;
  TimeNs first = 0, last = 0;
};

struct DaysReport {
  std::vector<DayRecord> days;          // by time
  std::vector<std::string> unreadable;  // names of files that could not be read
  bool linked = false;                  // HTML: each day's page lies beside it, <date>.html
};

/// Newest day first, then what matters more, then on more days. At most kAcross.
std::vector<AcrossDays> across_days(const DaysReport& report, std::size_t* not_listed = nullptr);
inline constexpr std::size_t kAcross = 1000;

/// 78 columns of ASCII; `brief`: below 60 lines.
std::string days_page(const DaysReport& report, bool brief, const FormatOptions& options);
/// tramlog.days/1.
std::string days_json(const DaysReport& report);
std::string days_html(const DaysReport& report);

}  // namespace tramlog
