// Who, how many, how often.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "exam/cause_tools.hpp"
#include "exam/evidence.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kTogether = kSecond / 2;             // fact sheet 10.2: within 500 ms they went together
constexpr SpanNs kOneByOne = 5 * kSecond;             // and this far apart they did not
constexpr double kRegular = 0.05, kIrregular = 0.25;  // deviation of intervals, share of their mean
constexpr double kClock = 0.03, kNoClock = 0.15;      // deviation from a clock, share of its interval
constexpr double kRatherRegular = 0.4;                // one sentence, not both
constexpr std::size_t kIntervalsNeeded = 2;

bool fell_silent(const Scene& s) {
  return s.incident.kind == IncidentKind::silence || s.incident.kind == IncidentKind::restarts;
}

// Within how long all of them went, over all its times; several times at once count each for itself.
SpanNs whole_spread(const Scene& s) {
  if (!s.incident.voltage_told) {
    SpanNs spread = 0;
    for (const IncidentTime& time : s.incident.times) spread = std::max(spread, time.spread);
    return spread;
  }
  if (s.incident.times.empty()) return 0;
  const IncidentTime& last = s.incident.times.back();
  return last.start.time + last.spread - s.incident.times.front().start.time;
}

Weighing one_controller(const Scene& s) {
  if (!fell_silent(s)) return cannot_be_told();
  return s.one() ? yes("No other controller dropped out with it.") : no();
}

Weighing several(const Scene& s) {
  if (!fell_silent(s)) return cannot_be_told();
  if (s.one()) return no();
  return yes(fmt::format("{} went.", counted(s.incident.parties, "controller", "controllers")));
}

Weighing together_within(const Scene& s) {
  if (!fell_silent(s)) return cannot_be_told();
  if (s.one()) return no();
  const SpanNs spread = whole_spread(s);
  const double degree = 1 - to_seconds(spread - kTogether) / to_seconds(kOneByOne - kTogether);
  return to_degree(
      degree, fmt::format("{} fell silent within {} of each other.",
                          counted(s.incident.parties, "controller", "controllers"), format_span(spread)));
}

Weighing one_by_one(const Scene& s) {
  if (!fell_silent(s)) return cannot_be_told();
  if (s.one()) return no();
  const SpanNs spread = whole_spread(s);
  return to_degree(to_seconds(spread - kTogether) / to_seconds(kOneByOne - kTogether),
                   fmt::format("They went one after the other, over {}.", format_span(spread)));
}

Weighing repeats(const Scene& s) {
  if (s.incident.times.size() < 2) return no();
  return to_degree(static_cast<double>(s.incident.times.size() - 1) / 3,
                   fmt::format("It happened {} times.", s.incident.times.size()));
}

// Coefficient of variation; negative: too few values.
double deviation(const std::vector<double>& values) {
  if (values.size() < kIntervalsNeeded) return -1;
  double mean = 0;
  for (const double v : values) mean += v / static_cast<double>(values.size());
  double variance = 0;
  for (const double v : values) variance += (v - mean) * (v - mean) / static_cast<double>(values.size());
  return mean > 0 ? std::sqrt(variance) / mean : -1;
}

double evenness(double deviation) {
  return 1 - (deviation - kRegular) / (kIrregular - kRegular);
}

// When it came back, each time, with the restarts of that controller that left no gap.
std::vector<TimeNs> moments(const Scene& s) {
  constexpr SpanNs kSame = 3 * kSecond;  // the claim that ended a silence
  std::vector<TimeNs> list;
  for (const IncidentTime& time : s.incident.times) list.push_back(time.until);
  if (!s.one() || s.incident.controllers.empty()) return list;
  for (const Restart& restart : s.seen.restarts) {
    if (restart.controller != s.incident.controllers.front()) continue;
    for (const Mark& mark : restart.each)
      if (std::none_of(s.incident.times.begin(), s.incident.times.end(), [&](const IncidentTime& t) {
            return mark.time >= t.start.time && mark.time <= t.until + kSame;
          }))
        list.push_back(mark.time);
  }
  // Of restarts without a gap the incident's own time is one of them.
  std::sort(list.begin(), list.end());
  list.erase(std::unique(list.begin(), list.end()), list.end());
  return list;
}

// How far intervals are from the shortest, or now and then from two or three of it, as a share of it: a time
// may have gone unnoticed. The worst of many does not count: the recorder's clock may have been set.
double unevenness(const std::vector<double>& intervals, bool may_miss) {
  constexpr std::size_t kEnough = 6;
  const double kMostMissed = may_miss ? 3 : 1;
  const double base = *std::min_element(intervals.begin(), intervals.end());
  if (base <= 0) return 1;
  std::vector<double> squares;
  std::size_t single = 0;
  for (const double interval : intervals) {
    const double times = std::round(interval / base), off = interval / base - times;
    single += times == 1;
    squares.push_back(times > kMostMissed ? 1 : off * off);
  }
  if (2 * single < intervals.size() + 1) return 1;
  std::sort(squares.begin(), squares.end());
  if (squares.size() >= kEnough) squares.pop_back();
  double sum = 0;
  for (const double square : squares) sum += square;
  return std::sqrt(sum / static_cast<double>(squares.size()));
}

struct Rhythm {
  double regular = 0;  // 0: by chance .. 1: by the clock
  std::size_t times = 0;
  double shortest = 0;  // interval, s
};

// None: too few times.
std::optional<Rhythm> rhythm_of(const Scene& s) {
  const std::vector<TimeNs> times = moments(s);
  if (!fell_silent(s) || times.size() < kIntervalsNeeded + 1) return std::nullopt;
  std::vector<double> intervals;
  for (std::size_t i = 1; i < times.size(); ++i) intervals.push_back(to_seconds(times[i] - times[i - 1]));
  // A silence is never overlooked, a restart without one may be.
  const bool may_miss = times.size() > s.incident.times.size() || s.incident.kind == IncidentKind::restarts;
  // Three times may be regular by chance.
  const double proof = std::min(1.0, static_cast<double>(intervals.size() - 1) / 2);
  const double off = (unevenness(intervals, may_miss) - kClock) / (kNoClock - kClock);
  return Rhythm{std::clamp(1 - off, 0.0, 1.0) * proof, times.size(),
                *std::min_element(intervals.begin(), intervals.end())};
}

Weighing regular_interval(const Scene& s) {
  const auto rhythm = rhythm_of(s);
  if (!rhythm) return cannot_be_told();
  if (rhythm->regular < kRatherRegular) return no();
  return to_degree(rhythm->regular,
                   fmt::format("It came {} times, regularly: every {:.1f} s or a multiple of it.",
                               rhythm->times, rhythm->shortest));
}

Weighing irregular_interval(const Scene& s) {
  const auto rhythm = rhythm_of(s);
  if (!rhythm) return cannot_be_told();
  if (rhythm->regular >= kRatherRegular) return no();
  return to_degree(1 - rhythm->regular,
                   fmt::format("It came {} times without any regularity.", rhythm->times));
}

Weighing equal_lengths(const Scene& s) {
  if (!fell_silent(s)) return cannot_be_told();
  std::vector<double> lengths;
  for (const IncidentTime& time : s.incident.times)
    if (time.returned) lengths.push_back(to_seconds(time.until - time.start.time));
  if (lengths.size() < 3) return cannot_be_told();
  double mean = 0;
  for (const double length : lengths) mean += length / static_cast<double>(lengths.size());
  return to_degree(
      evenness(deviation(lengths)),
      fmt::format("Each silence was about equally long, {:.1f} s: the time that it takes to start.", mean));
}

Weighing without_gap(const Scene& s) {
  return s.incident.kind == IncidentKind::restarts
             ? yes("It claimed its address anew without a gap in its traffic.")
             : no();
}

// A controller claims its address up to 10 s after key-on, a slow display up to 60 s (fact sheet 3.2).
Weighing short_recording(const Scene& s) {
  if (s.incident.kind != IncidentKind::missing && s.incident.kind != IncidentKind::partner)
    return cannot_be_told();
  constexpr double kLong = 10;
  const double length = to_seconds(s.all.end - s.all.start);
  if (length >= kLong) return no();
  return yes(fmt::format("The recording lasts only {}: a controller may need 10 s and more until it speaks.",
                         format_span(s.all.end - s.all.start)));
}

constexpr EvidenceKind kAll[] = {
    {"short-recording", short_recording},
    {"one-controller", one_controller},
    {"several", several},
    {"together-within", together_within},
    {"one-by-one", one_by_one},
    {"repeats", repeats},
    {"regular-interval", regular_interval},
    {"irregular-interval", irregular_interval},
    {"equal-lengths", equal_lengths},
    {"without-gap", without_gap},
};

}  // namespace

std::span<const EvidenceKind> evidence_of_shape() {
  return kAll;
}

}  // namespace tramlog
