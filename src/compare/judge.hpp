// Is a difference more than what differs by itself? Swapping the sides swaps worse and better; only, that
// something is cured needs more proof than that it came.
#pragma once

#include <optional>
#include <string>

#include "compare/compare.hpp"
#include "compare/noise.hpp"

namespace tramlog {

/// Events and the time in which they could have been heard.
struct EventCount {
  double count = 0;
  double hours = 0;
};

struct Judgement {
  bool differs = false;
  Change change = Change::other;  // if it differs
  bool too_short = false;         // a difference that the shorter side cannot prove
  double needed_h = 0;            // too short: so long must be heard after to prove it; 0: no length does
};

/// What kind of trouble it is: it comes now and then, or it is there all the time (settings, software, who is
/// there), so that any recording shows it.
enum class Recurs : unsigned char { now_and_then, always };

/// More of these an hour is worse.
Judgement judge_events(const EventCount& before, const EventCount& after,
                       Recurs recurs = Recurs::now_and_then);
/// "; too short to tell: record at least 12 min"; empty if it was not too short.
std::string too_short_words(const Judgement& judgement);
/// Greater is worse; a difference counts beyond the limit.
Judgement judge_figure(double before, double after, const noise::Limit& limit);

/// "3 min 20 s"; whatever the number is.
std::string span_words(double seconds);
/// "2 in 31.0 s", "none in 10 min 00 s", "7 in 3 h 10 min (2.2 an hour)".
std::string events_words(const EventCount& events);

}  // namespace tramlog
