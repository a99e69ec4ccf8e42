#include "stage/implement_truth.hpp"

#include <algorithm>
#include <cmath>

namespace tramlog::stage {
namespace {

constexpr double kGridS = 0.005;
constexpr std::size_t kSettledSamples = 200;     // the last second of the window
constexpr SpanNs kShortestWindow = 3 * kSecond;  // less work after a change measures nothing
constexpr double kStillShare = 0.002;            // of the range, within that second
constexpr double kAnswerShare = 0.01;  // of the range: a smaller change of the delivered rate is none

// When the trace passes `level` for the first time, in seconds after the window's beginning; linear within a
// grid step.
std::optional<double> crossing(const std::vector<float>& trace, std::size_t first, std::size_t last,
                               double level, bool up) {
  for (std::size_t i = first; i < last; ++i) {
    const double value = trace[i];
    if (up ? value < level : value > level) continue;
    if (i == first) return 0.0;
    const double before = trace[i - 1];
    const double part = value == before ? 1 : (level - before) / (value - before);
    return (static_cast<double>(i - 1 - first) + part) * kGridS;
  }
  return std::nullopt;
}

std::size_t index_of(TimeNs at, TimeNs first) {
  return static_cast<std::size_t>(std::max<TimeNs>(0, (at - first + kDrillStep - 1) / kDrillStep));
}

}  // namespace

std::vector<StepTruth> measure_steps(const std::vector<SetRate>& changes, const std::vector<float>& trace,
                                     TimeNs first, TimeNs end, double range) {
  std::vector<StepTruth> steps;
  for (std::size_t i = 0; i < changes.size(); ++i) {
    const SetRate& change = changes[i];
    if (!change.working || change.from == change.to) continue;
    const TimeNs until = i + 1 < changes.size() ? std::min(end, changes[i + 1].at) : end;
    const std::size_t begin = index_of(change.at, first);
    std::size_t last = std::min(trace.size(), index_of(until, first));
    for (std::size_t k = begin; k < last; ++k) {  // work ends: the window too
      if (trace[k] <= 0 && change.to > 0) last = k;
    }
    if (begin >= trace.size() || last <= begin ||
        static_cast<SpanNs>(last - begin) * kDrillStep < kShortestWindow)
      continue;
    StepTruth step;
    step.at = change.stamp;
    step.from = change.from;
    step.to = change.to;
    double sum = 0, lowest = trace[last - 1], highest = lowest;
    for (std::size_t k = last - kSettledSamples; k < last; ++k) {
      sum += trace[k];
      lowest = std::min<double>(lowest, trace[k]);
      highest = std::max<double>(highest, trace[k]);
    }
    if (highest - lowest > kStillShare * range) {  // never settled: nothing to measure
      step.answered = true;
      steps.push_back(step);
      continue;
    }
    const double settled = sum / static_cast<double>(kSettledSamples);
    const double before = trace[begin];
    step.settled = settled;
    const double change_size = settled - before;
    step.answered = std::abs(change_size) >= kAnswerShare * range;
    if (step.answered) {
      const bool up = change_size > 0;
      const auto at = [&](double share) {
        return crossing(trace, begin, last, before + share * change_size, up);
      };
      const auto t5 = at(0.05), t10 = at(0.10), t90 = at(0.90);
      // The grid begins up to one step after the frame.
      const double offset =
          static_cast<double>(static_cast<TimeNs>(begin) * kDrillStep + first - change.at) / 1e9;
      if (t5) step.dead_time_s = *t5 + offset;
      if (t10 && t90) step.rise_time_s = *t90 - *t10;
      double peak = before;
      for (std::size_t k = begin; k < last; ++k)
        peak = up ? std::max<double>(peak, trace[k]) : std::min<double>(peak, trace[k]);
      step.overshoot_pct = std::max(0.0, (peak - settled) / change_size * 100);
    }
    steps.push_back(step);
  }
  return steps;
}

}  // namespace tramlog::stage
