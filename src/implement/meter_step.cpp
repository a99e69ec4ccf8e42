#include "implement/meter_step.hpp"

#include <algorithm>
#include <cmath>

namespace tramlog {
namespace {

constexpr double kAnswerShare = 0.10;    // of the set rate's change: what counts as an effect
constexpr double kSettledDrift = 0.03;   // of the change, over the tail
constexpr double kSettledRipple = 0.15;  // of the change: half of peak to peak in the tail
constexpr double kExtrapolated = 0.12;   // of the change: so much may still be to come
constexpr double kShortest_s = 2.0;      // less time after the step says nothing about settling

struct Settled {
  double rate = 0, noise = 0;
  bool steady = true;
  bool found = false;
};

// The settled rate out of the window's end; it need not be the set rate. Three means in a row tell whether it
// still moves; a geometric approach is carried on to its end.
Settled settle(const RateTrace& line, std::span<const RateSample> samples, const StepInput& in) {
  Settled result;
  const double window = in.until_s - in.at_s;
  const double gap = std::max(in.sampling.gap_s, 0.1);
  double tail = std::clamp(0.3 * window, std::max(1.2, 3 * gap), 9.0);
  if (window < kShortest_s || window < 1.3 * tail) return result;
  const double end = line.back().t_s;
  if (end < in.until_s - std::max(3 * gap, 1.0)) return result;  // the values ended before
  tail = std::min(tail, end - in.at_s);
  const double part = tail / 3;
  const double m1 = mean_between(line, end - 3 * part, end - 2 * part);
  const double m2 = mean_between(line, end - 2 * part, end - part);
  const double m3 = mean_between(line, end - part, end);
  const auto first = std::lower_bound(samples.begin(), samples.end(), end - tail,
                                      [](const RateSample& s, double t) { return s.t_s < t; });
  const std::span<const RateSample> last(first, samples.end());
  // A few samples tell little about the noise; those before the step help.
  result.noise = std::max(noise_of(last), std::min(in.ripple / 2.5, 0.05 * std::abs(in.set_change)));
  const double n = std::max(1.0, static_cast<double>(last.size()) / 3);
  const double doubt = 3 * result.noise * std::sqrt(2.0 / n);
  const double moved = m3 - m1;
  result.rate = (m1 + m2 + m3) / 3;
  const double change = std::abs(result.rate - in.before);
  const double scale = std::max(change, kAnswerShare * std::abs(in.set_change));
  double swing = half_range(last);
  const double allowed = std::max(kSettledDrift * scale, doubt);
  // An exponential that nears its end: r is the same from part to part. What does not slow down is no
  // approach, and little of it is noise.
  const double a = m2 - m1, b = m3 - m2;
  const double r = a == 0 ? 1 : b / a;
  const bool slows_down = r > 0 && r < 0.85;
  if (std::abs(moved) > (slows_down ? allowed : 2 * allowed)) {
    if (!slows_down) {
      result.steady = swing <= std::max(kSettledRipple * scale, 3 * result.noise);
      return result;
    }
    const double to_come = b * r / (1 - r);
    if (std::abs(to_come) > kExtrapolated * scale) return result;
    result.rate = m3 + to_come;
    swing = 0;
  }
  result.steady = swing <= std::max({kSettledRipple * scale, 4 * result.noise, 1.0});
  result.found = result.steady;
  return result;
}

struct Crossing {
  double t_s = 0, gap_s = 0;
};

// Share of the change that a rate has made.
double share_of(double rate, double before, double change) {
  return (rate - before) / change;
}

// Where the line last came up through `level` before it first reached `sure`: noise that touches the level
// earlier and falls back is no crossing.
std::optional<Crossing> crossing(const RateTrace& line, double before, double change, double level,
                                 double sure) {
  std::size_t reached = 0;
  while (reached < line.size() && share_of(line[reached].rate, before, change) < sure) ++reached;
  if (reached == line.size()) return std::nullopt;
  std::size_t i = reached;
  while (i > 0 && share_of(line[i - 1].rate, before, change) >= level) --i;
  if (i == 0) return Crossing{line.front().t_s, 0};
  const double low = share_of(line[i - 1].rate, before, change);
  const double high = share_of(line[i].rate, before, change);
  const double gap = line[i].t_s - line[i - 1].t_s;
  const double part = high > low ? (level - low) / (high - low) : 1.0;
  return Crossing{line[i - 1].t_s + part * gap, gap};
}

// The first crossing of `level`; with noise, the middle between it and the last one shortly after.
std::optional<Crossing> noisy_crossing(const RateTrace& line, double before, double change, double level,
                                       double noise_share, double within_s) {
  std::optional<Crossing> first, last;
  for (std::size_t i = 1; i < line.size(); ++i) {
    const double low = share_of(line[i - 1].rate, before, change);
    const double high = share_of(line[i].rate, before, change);
    if (!(low < level && high >= level)) continue;
    const double gap = line[i].t_s - line[i - 1].t_s;
    const Crossing here{line[i - 1].t_s + gap * (level - low) / (high - low), gap};
    if (!first) {
      first = last = here;
    } else if (noise_share > 0.01 && here.t_s - first->t_s <= within_s) {
      last = here;
    }
  }
  if (!first) return first;
  return Crossing{(first->t_s + last->t_s) / 2, first->gap_s};
}

// Noise moves the crossing of 90 %, where the answer is flat: a straight line through the samples around it
// knows better.
double straightened(std::span<const RateSample> samples, double before, double change, double level,
                    double about_s, double half_width_s) {
  for (int round = 0; round < 2; ++round) {
    double n = 0, st = 0, sy = 0, stt = 0, sty = 0;
    for (const RateSample& sample : samples) {
      const double t = sample.t_s - about_s;
      if (std::abs(t) > half_width_s) continue;
      const double y = share_of(sample.rate, before, change) - level;
      n += 1, st += t, sy += y, stt += t * t, sty += t * y;
    }
    const double det = n * stt - st * st;
    if (n < 3 || !(det > 0)) return about_s;
    const double slope = (n * sty - st * sy) / det;
    if (!(slope > 0)) return about_s;
    const double middle = (sy - slope * st) / n;
    about_s += std::clamp(-middle / slope, -half_width_s, half_width_s);
  }
  return about_s;
}

}  // namespace

StepAnswer measure_step(const StepInput& in) {
  StepAnswer answer;
  if (in.after.empty() || in.set_change == 0 || !(in.until_s > in.at_s)) return answer;
  RateTrace samples;
  samples.reserve(in.after.size() + 1);
  samples.push_back({in.at_s, in.before, 0});
  for (const RateSample& sample : in.after)
    if (sample.t_s > in.at_s && sample.t_s <= in.until_s) samples.push_back(sample);
  if (samples.size() < 2) {
    if (in.sampling.on_change) answer.watched_s = in.until_s - in.at_s;
    return answer;
  }
  const RateTrace line = drawn_line(samples, in.sampling, in.until_s);
  answer.watched_s = line.back().t_s - in.at_s;

  const std::span<const RateSample> seen(samples.begin() + 1, samples.end());
  const Settled settled = settle(line, seen, in);
  answer.unsteady = !settled.steady;
  double change = settled.found ? settled.rate - in.before : in.set_change;
  const double least = std::max(kAnswerShare * std::abs(in.set_change), 1.5 * in.ripple);
  if (settled.found && (std::abs(change) < least || (change > 0) != (in.set_change > 0))) {
    // It stands still or went astray. Small changes of a noisy rate are not measured, but it may well have
    // followed.
    answer.settled = settled.rate;
    const double to_go = std::abs(settled.rate - in.target), gone = std::abs(settled.rate - in.before);
    answer.answered = to_go < 0.5 * gone;
    answer.unclear = !answer.answered && gone > 0.5 * to_go;
    return answer;
  }

  const double level = std::max(0.05, 1.2 * in.ripple / std::abs(change));
  const double sure = std::max(0.3, 2 * level);
  if (level <= 0.5) {
    // Not settled: the change that was asked for stands for the one that is to come.
    auto dead = crossing(line, in.before, change, level, settled.found ? sure : std::max(0.15, 2 * level));
    if (dead) {
      answer.answered = true;
      answer.dead_time_s = dead->t_s - in.at_s;
      answer.dead_doubt_s = dead->gap_s;
    }
  }
  if (!settled.found) return answer;
  answer.answered = true;
  answer.complete = true;
  answer.settled = settled.rate;

  const auto t10 = crossing(line, in.before, change, std::max(0.10, std::min(level, 0.3)), sure);
  const double noise_share = settled.noise / std::abs(change);
  const auto early = noisy_crossing(line, in.before, change, 0.90, 0, 0);
  if (t10 && early) {
    const double about = std::max(0.2, 0.5 * (early->t_s - t10->t_s));
    auto t90 = noisy_crossing(line, in.before, change, 0.90, noise_share, about);
    answer.rise_doubt_s = std::max(t10->gap_s, t90->gap_s);
    // Near the end a device that sends on change falls silent: it passed 90 % soon after its last word, not
    // at the next.
    const auto next = std::lower_bound(seen.begin(), seen.end(), early->t_s,
                                       [](const RateSample& sample, double t) { return sample.t_s < t; });
    const double silence = next != seen.begin() && next != seen.end() ? next->t_s - (next - 1)->t_s : 0;
    const double gap = std::max(in.sampling.gap_s, 0.1);
    if (silence > 3 * gap) {
      answer.rise_doubt_s = std::max(answer.rise_doubt_s, silence);
      if (share_of((next - 1)->rate, in.before, change) > 0.5) t90->t_s = (next - 1)->t_s + gap;
    } else if (noise_share > 0.01) {
      t90->t_s =
          straightened(seen, in.before, change, 0.90, t90->t_s, 0.35 * std::max(0.0, t90->t_s - t10->t_s));
    }
    answer.rise_time_s = std::max(0.0, t90->t_s - t10->t_s);
  }
  double peak = 0;
  for (const RateSample& sample : seen) peak = std::max(peak, share_of(sample.rate, in.before, change));
  // The greatest of many noisy values lies about two deviations too high.
  answer.overshoot_pct = std::max(0.0, (peak - 1 - 2 * noise_share) * 100);
  answer.overshoot_doubt_pct = 100 * in.sampling.resolution / std::abs(change);
  answer.settled_from_s = std::min(
      answer.dead_time_s.value_or(0) + 2.5 * answer.rise_time_s.value_or(1.0) + 0.5, in.until_s - in.at_s);
  return answer;
}

}  // namespace tramlog
