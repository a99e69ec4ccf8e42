#include "implement/standing_speeds.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

constexpr std::uint64_t kEnoughValues = 10;   // of a stretch
constexpr std::uint64_t kEnoughChanges = 10;  // before it: less, and the source may tell a constant by design
constexpr double kEnoughDrivenS = 10;         // before it, to know how long its values stand
constexpr double kEnoughSteadyS = 10;
constexpr double kSteadyMmS = 50;  // from the filter below: less than 0.1 m/s2
constexpr double kRestlessShare = 0.1, kOfRestless = 1.0 / 3;
constexpr double kTimesLonger = 5;              // than ever before
constexpr std::uint64_t kChangesOfOther = 5;    // a single jump is a fault of the other
constexpr SpanNs kPause = 1500 * kMillisecond;  // a longer one is a loss, and the stretch begins again
// Receivers and radars filter: a source may be behind another for so long.
constexpr SpanNs kFollows = 2 * kSecond;
constexpr SpanNs kCurrent = kSecond;
constexpr double kSmoothS = 0.5;  // takes a receiver's noise of 30 mm/s to a third
constexpr double kSteps = 2;      // the other's change must be this many steps of a coarse source

}  // namespace

StandingSpeeds::StandingSpeeds(const SeedingLimits& limits)
    : working_mm_s_(limits["speed.working_mm_s"]),
      frozen_s_(limits["speed.frozen_s"]),
      other_mm_s_(limits["speed.frozen_other_mm_s"]),
      differ_pct_(limits["speed.differ_pct"]),
      fast_mm_s_(limits["position.frozen_mm_s"]) {}

/// What is known of a sender does not hold for another one.
void StandingSpeeds::forget_history(Track& track) {
  track.changes = track.distance_changes = 0;
  track.step_mm_s.reset();
  track.driven_s = track.steady_s = track.longest_s = track.travel_mm = track.longest_travel_mm = 0;
  track.distance.reset();
}

void StandingSpeeds::take(SpeedSource source, Mark at, std::uint32_t who, double mm_s,
                          std::optional<std::uint32_t> distance) {
  Track& one = tracks_[static_cast<std::size_t>(source)];
  const SpanNs gap = one.at ? span_between(*one.at, at.time) : -1;
  const bool goes_on = gap > 0 && gap <= kPause && who == one.who;
  if (!goes_on) {
    close(source, one.at.value_or(at.time));
    if (who != one.who) forget_history(one);
    one.smooth = mm_s;
    one.travel_mm = 0;
    one.fast_since.reset();
    one.distance_since = at.time;
  }
  const double gap_s = goes_on ? to_seconds(gap) : 0;
  const double off = std::abs(mm_s - one.mm_s);
  const bool same = goes_on && off == 0;
  if (goes_on && !same) {
    ++one.changes;
    one.step_mm_s = std::min(one.step_mm_s.value_or(off), off);
    one.lived = at.time;
  }
  const bool steady = std::abs(mm_s - one.smooth) <= kSteadyMmS;
  one.smooth += (mm_s - one.smooth) * (1 - std::exp(-gap_s / kSmoothS));
  take_distance(one, at.time, mm_s * gap_s, distance);
  if (!same) close(source, at.time);
  one.who = who;
  one.at = at.time;
  one.mm_s = mm_s;
  if (mm_s < fast_mm_s_)
    one.fast_since.reset();
  else if (!one.fast_since)
    one.fast_since = at.time;
  if (mm_s < working_mm_s_) return close(source, at.time);
  if (!one.stretch) {
    one.stretch.emplace();
    Stretch& stretch = *one.stretch;
    stretch.start = at;
    stretch.driven_before_s = one.driven_s;
    stretch.steady_before_s = one.steady_s;
    stretch.changes_before = one.changes;
    stretch.distance_changes_before = one.distance_changes;
  }
  one.stretch->last = at.time;
  ++one.stretch->values;
  if (one.stretch->proven) return;
  one.driven_s += gap_s;
  if (steady) one.steady_s += gap_s;
}

void StandingSpeeds::take_distance(Track& track, TimeNs at, double driven_mm,
                                   std::optional<std::uint32_t> distance) {
  const bool stands = track.distance && distance == track.distance;
  if (stands) {
    track.travel_mm += driven_mm;
    return;
  }
  if (track.distance && distance) {
    ++track.distance_changes;
    track.lived = at;
    if (!track.stretch || !track.stretch->proven)
      track.longest_travel_mm = std::max(track.longest_travel_mm, track.travel_mm);
  }
  track.distance = distance;
  track.travel_mm = 0;
  track.distance_since = at;
}

void StandingSpeeds::end(SpeedSource source, TimeNs now) {
  Track& one = tracks_[static_cast<std::size_t>(source)];
  close(source, now);
  one.at.reset();
  one.distance.reset();
  one.fast_since.reset();
}

void StandingSpeeds::close(SpeedSource source, TimeNs at) {
  Track& one = tracks_[static_cast<std::size_t>(source)];
  if (!one.stretch) return;
  const Stretch& stretch = *one.stretch;
  if (!stretch.proven)
    one.longest_s = std::max(one.longest_s, to_seconds(span_between(stretch.start.time, stretch.last)));
  if (one.frozen.good(at) && one.back.size() < kMaxMoments)
    one.back.push_back({{at, 0},
                        fmt::format("the {} stood for {}", speed_source_term(source),
                                    seconds_words(to_seconds(span_between(stretch.start.time, at))))});
  one.stretch.reset();
}

void StandingSpeeds::blind() {
  for (Track& one : tracks_) {
    one.frozen.forget();
    one.stretch.reset();
    one.at.reset();
    one.lived.reset();
    one.fast_since.reset();
    one.distance.reset();
    one.travel_mm = 0;
  }
}

bool StandingSpeeds::current(const Track& track, TimeNs now) const {
  return track.at && std::abs(span_between(*track.at, now)) <= kCurrent;
}

/// What the other sources did since the stretch began.
void StandingSpeeds::compare(Track& track, SpeedSource source, TimeNs now) {
  Stretch& stretch = *track.stretch;
  if (span_between(stretch.start.time, now) < kFollows) return;
  const double step = kSteps * track.step_mm_s.value_or(0), usual = std::max(other_mm_s_, step);
  const double demanded[] = {std::max(kOfRestless * other_mm_s_, step), usual,
                             std::max(usual, differ_pct_ / 100 * track.mm_s)};
  for (std::size_t i = 0; i < kSpeedSources; ++i) {
    Other& other = stretch.others[i];
    const Track& there = tracks_[i];
    if (i == static_cast<std::size_t>(source) || !current(there, now)) continue;
    if (!other.begun) {
      other.begun = true;
      other.low = other.high = there.smooth;
      other.changes = there.changes;
    }
    other.low = std::min(other.low, there.smooth);
    other.high = std::max(other.high, there.smooth);
    if (there.changes < other.changes + kChangesOfOther) continue;
    for (std::size_t k = 0; k < other.reached.size(); ++k)
      if (!other.reached[k] && other.high - other.low >= demanded[k]) other.reached[k] = now;
  }
}

bool StandingSpeeds::distance_stands(const Track& track) const {
  return track.distance && track.distance_changes >= kEnoughChanges &&
         to_seconds(span_between(track.distance_since, track.stretch->last)) >= frozen_s_ &&
         track.travel_mm >= kTimesLonger * track.longest_travel_mm;
}

StandingSpeeds::Was StandingSpeeds::was(const Track& track, double length_s) const {
  const Stretch& stretch = *track.stretch;
  if (stretch.driven_before_s < kEnoughDrivenS || track.distance_changes != stretch.distance_changes_before)
    return coarse;
  if (stretch.steady_before_s >= kEnoughSteadyS && track.longest_s <= kRestlessShare * frozen_s_)
    return restless;
  return length_s >= kTimesLonger * track.longest_s ? lively : coarse;
}

/// In words; empty if there is none.
std::string StandingSpeeds::proof(const Track& track, SpeedSource source, TimeNs now) const {
  const Stretch& stretch = *track.stretch;
  if (stretch.values < kEnoughValues || stretch.changes_before < kEnoughChanges) return {};
  const double length_s = to_seconds(span_between(stretch.start.time, stretch.last));
  if (length_s < frozen_s_) return {};
  const std::string still =
      fmt::format("the {} stands at {:.3f} m/s", speed_source_term(source), track.mm_s / 1000);
  if (distance_stands(track))
    return fmt::format("{}, and its distance at {:.3f} m", still, *track.distance / 1000.0);
  const Was before = was(track, length_s);
  unsigned against = 0, there = 0;
  std::string words;
  for (std::size_t i = 0; i < kSpeedSources; ++i) {
    const Other& other = stretch.others[i];
    if (i == static_cast<std::size_t>(source) || !other.begun || !current(tracks_[i], now)) continue;
    ++there;
    const auto& reached = other.reached[before];
    if (!reached || span_between(*reached, now) < kFollows) continue;
    ++against;
    words += fmt::format("{} the {} went through {:.2f} to {:.2f} m/s", words.empty() ? ", while" : " and",
                         speed_source_term(static_cast<SpeedSource>(i)), other.low / 1000, other.high / 1000);
  }
  if (before == coarse ? against < 2 || against < there : against == 0) return {};
  return still + words;
}

void StandingSpeeds::judge(TimeNs now) {
  for (std::size_t i = 0; i < kSpeedSources; ++i) {
    Track& one = tracks_[i];
    const auto source = static_cast<SpeedSource>(i);
    if (!one.stretch) continue;
    if (span_between(one.stretch->last, now) > kPause) {
      close(source, one.stretch->last);
      continue;
    }
    compare(one, source, now);
    if (!one.stretch->proven) {
      const std::string words = proof(one, source, now);
      if (words.empty()) continue;
      one.stretch->proven = true;
      one.driven_s = one.stretch->driven_before_s;
      one.steady_s = one.stretch->steady_before_s;
      one.frozen.bad(now, one.stretch->start, 0, 0, [&] { return words; });
    }
    one.frozen.bad(now, one.stretch->start, 0, 0, [] { return std::string(); });
  }
}

std::optional<TimeNs> StandingSpeeds::moves_since(double mm_s, TimeNs since, TimeNs now) const {
  std::optional<TimeNs> longest;
  for (const Track& one : tracks_) {
    if (!current(one, now)) continue;
    if (one.mm_s < working_mm_s_) return std::nullopt;
    if (one.mm_s < mm_s || !one.fast_since || !one.lived || *one.lived <= since) continue;
    longest = std::min(longest.value_or(*one.fast_since), *one.fast_since);
  }
  return longest;
}

void StandingSpeeds::frozen_line(SpeedSource source, TimeNs end, std::vector<CheckLine>& lines) const {
  const Spell& spell = track(source).frozen;
  CheckLine line =
      make_line("speed.frozen", "speed", speed_source_term(source), Verdict::attention,
                fmt::format("Frozen {}, first at {} ({}), for {} at the longest{}; limit {}.",
                            counted_words(spell.count(), "time", "times"), time_of_day(spell.first()->time),
                            spell.moments().front().text, seconds_words(spell.longest_s(end)),
                            spell.goes_on() ? " (until the recording's end)" : "", seconds_words(frozen_s_)));
  with(line, "times", static_cast<double>(spell.count()), 0);
  with(line, "longest_s", spell.longest_s(end));
  const auto& back = track(source).back;
  for (std::size_t k = 0; k < spell.moments().size(); ++k) {
    add_moment(line, spell.moments()[k].at, spell.moments()[k].text);
    if (k < back.size()) add_moment(line, back[k].at, back[k].text);
  }
  line.start = spell.first()->time;
  line.end = spell.end();
  lines.push_back(std::move(line));
}

void StandingSpeeds::conclude(TimeNs end, std::vector<CheckLine>& lines) const {
  bool any = false, steady = false;
  std::string stood;
  for (std::size_t i = 0; i < kSpeedSources; ++i) {
    const Track& one = tracks_[i];
    const auto source = static_cast<SpeedSource>(i);
    if (one.frozen.count() > 0) {
      any = true;
      frozen_line(source, end, lines);
    }
    double longest = one.longest_s;
    if (one.stretch && !one.stretch->proven)
      longest = std::max(longest, to_seconds(span_between(one.stretch->start.time, one.stretch->last)));
    if (one.driven_s < frozen_s_ || one.changes < kEnoughChanges) continue;
    steady = steady || longest >= frozen_s_;
    stood += fmt::format("{}{} for {}", stood.empty() ? "" : ", ", speed_source_term(source),
                         seconds_words(longest));
  }
  if (any) return;
  if (stood.empty()) {
    lines.push_back(
        make_line("speed.frozen", "speed", "", Verdict::not_shown,
                  fmt::format("Not shown on this bus: no source told a changing speed and drove for {}.",
                              seconds_words(frozen_s_))));
    return;
  }
  lines.push_back(make_line(
      "speed.frozen", "speed", "", Verdict::pass,
      fmt::format(
          "No source is known to be frozen; the same value while driving, at the longest: {}.{}", stood,
          steady ? fmt::format(" {} and more may be a steady cruise: nothing on the bus speaks against it.",
                               seconds_words(frozen_s_))
                 : std::string())));
}

}  // namespace tramlog
