#include "implement/speed_comparison.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

// A first order filter of so long; a reading this near to it is of steady driving.
constexpr double kSmoothS = 1.0, kSteadyMmS = 150, kSteadyShare = 0.04;
constexpr double kPauseS = 2;           // the filter begins again after a longer one
constexpr double kComparableMmS = 500;  // slower is starting or standing
constexpr SpanNs kCurrent = kSecond;
constexpr double kEnoughS = 10;  // so much comparing makes agreement

}  // namespace

SpeedComparison::SpeedComparison(const SeedingLimits& limits)
    : differ_pct_(limits["speed.differ_pct"]),
      differ_mm_s_(limits["speed.differ_mm_s"]),
      differ_s_(limits["speed.differ_for_s"]) {
  std::size_t next = 0;
  for (std::size_t a = 0; a < kSpeedSources; ++a)
    for (std::size_t b = a + 1; b < kSpeedSources; ++b) {
      pairs_[next].a = static_cast<SpeedSource>(a);
      pairs_[next++].b = static_cast<SpeedSource>(b);
    }
}

void SpeedComparison::take(SpeedSource source, TimeNs at, double mm_s) {
  Track& track = tracks_[static_cast<std::size_t>(source)];
  const double gap_s = track.at ? to_seconds(span_between(*track.at, at)) : 0;
  if (!track.at || gap_s <= 0 || gap_s > kPauseS) {
    track.smooth = mm_s;
    track.steady = false;
  } else {
    const double off = mm_s - track.smooth;
    track.steady = std::abs(off) <= std::max(kSteadyMmS, kSteadyShare * mm_s);
    track.smooth += off * (1 - std::exp(-gap_s / kSmoothS));
  }
  track.at = at;
}

void SpeedComparison::look(Mark now, bool selected_is_simulated) {
  const double passed_s = looked_ ? to_seconds(span_between(*looked_, now.time)) : 0;
  looked_ = now.time;
  const auto usable = [&](SpeedSource source) {
    const Track& one = track(source);
    return one.steady && span_between(*one.at, now.time) <= kCurrent &&
           (source != SpeedSource::selected || !selected_is_simulated);
  };
  for (Pair& pair : pairs_) {
    const double a = track(pair.a).smooth, b = track(pair.b).smooth, fast = std::max(a, b);
    if (!usable(pair.a) || !usable(pair.b) || fast < kComparableMmS) {
      pair.differs.pass_over();
      continue;
    }
    const double off = std::abs(a - b), pct = 100 * off / fast;
    if (passed_s > 0 && passed_s <= kPauseS) {
      pair.compared_s += passed_s;
      pair.difference_pct_s += pct * passed_s;
    }
    if (pct > differ_pct_ && off > differ_mm_s_) {
      pair.differs.bad(now.time, now, differ_s_, pct, [&] {
        return fmt::format("{} {:.2f} m/s, {} {:.2f} m/s", speed_source_term(pair.a), a / 1000,
                           speed_source_term(pair.b), b / 1000);
      });
    } else {
      pair.differs.good(now.time);
    }
  }
}

void SpeedComparison::blind() {
  for (Track& track : tracks_) track = {};
  for (Pair& pair : pairs_) pair.differs.forget();
  looked_.reset();
}

/// With three sources and more: the one that differs from all others, while these agree.
std::string SpeedComparison::odd_one() const {
  std::array<unsigned, kSpeedSources> differing{}, compared{};
  unsigned all = 0;
  for (const Pair& pair : pairs_) {
    if (pair.compared_s < kEnoughS && pair.differs.count() == 0) continue;
    const unsigned differs = pair.differs.count() > 0 ? 1 : 0;
    all += differs;
    for (const SpeedSource source : {pair.a, pair.b}) {
      differing[static_cast<std::size_t>(source)] += differs;
      ++compared[static_cast<std::size_t>(source)];
    }
  }
  for (std::size_t i = 0; i < kSpeedSources; ++i)
    if (compared[i] >= 2 && differing[i] == compared[i] && differing[i] == all)
      return fmt::format(" The {} stands alone: the others agree.",
                         speed_source_term(static_cast<SpeedSource>(i)));
  return {};
}

CheckLine SpeedComparison::line(TimeNs end) const {
  CheckLine line = make_line("speed.sources-differ", "speed", "", Verdict::not_shown, "");
  double compared_s = 0, longest = 0;
  std::string agreeing;
  const Pair* worst = nullptr;
  for (const Pair& pair : pairs_) {
    compared_s = std::max(compared_s, pair.compared_s);
    longest = std::max(longest, pair.differs.longest_s(end));
    if (pair.differs.count() > 0) {
      if (worst == nullptr || *worst->differs.worst() < *pair.differs.worst()) worst = &pair;
    } else if (pair.compared_s >= kEnoughS) {
      agreeing += fmt::format("{}{} and {} differ by {:.1f} %", agreeing.empty() ? "" : ", ",
                              speed_source_term(pair.a), speed_source_term(pair.b),
                              pair.difference_pct_s / pair.compared_s);
    }
  }
  if (worst == nullptr && compared_s < kEnoughS) {
    line.text = compared_s == 0 ? "Not shown on this bus: no two speed sources were valid at once while the "
                                  "machine drove steadily."
                                : fmt::format(
                                      "Not shown on this bus: two speed sources could be compared for "
                                      "{} of steady driving only.",
                                      seconds_words(compared_s));
    return line;
  }
  if (worst == nullptr) {
    line.verdict = Verdict::pass;
    line.text =
        fmt::format("On average {}; never more than {:.0f} % for longer than {} in {} of steady driving.",
                    agreeing, differ_pct_, seconds_words(differ_s_), seconds_words(compared_s));
    return line;
  }
  const Spell& spell = worst->differs;
  line.verdict = Verdict::attention;
  line.text = fmt::format(
      "Speed sources differ by up to {:.1f} %, for {} at the longest, first at {} ({}); limit {:.0f} % for "
      "{}.{}",
      *spell.worst(), seconds_words(longest), time_of_day(spell.first()->time), spell.moments().front().text,
      differ_pct_, seconds_words(differ_s_), odd_one());
  with(line, "worst_pct", *spell.worst(), 1);
  with(line, "longest_s", longest);
  for (const Pair& pair : pairs_)
    for (const Moment& moment : pair.differs.moments()) add_moment(line, moment.at, moment.text);
  std::stable_sort(line.moments.begin(), line.moments.end(),
                   [](const Moment& x, const Moment& y) { return x.at.time < y.at.time; });
  line.start = line.moments.front().at.time;
  line.end = spell.end();
  return line;
}

}  // namespace tramlog
