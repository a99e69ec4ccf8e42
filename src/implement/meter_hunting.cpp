#include "implement/meter_hunting.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace tramlog {
namespace {

constexpr std::size_t kMostPoints = 600;  // of a stretch, for the search
constexpr double kFewCycles = 0.9;
constexpr double kExplainedShort = 0.80;    // share of the variance that one sine must explain, few cycles ..
constexpr double kExplainedLong = 0.60;     // .. many cycles: square and triangle swings too
constexpr double kExplainedThrough = 0.75;  // .. through several stretches, each with its own mean
constexpr double kThroughCycles = 2.0;      // that these must cover together
constexpr double kSteady = 0.55;            // the weaker half's amplitude against the stronger one's

struct Point {
  double t = 0, y = 0;
};

struct Fit {
  double mean = 0, a = 0, b = 0;  // y = mean + a cos + b sin
  double left = 0;                // sum of squares that remains
  double amplitude() const { return std::hypot(a, b); }
};

// Least squares of a sine of that frequency and a constant, by the normal equations.
std::optional<Fit> fit(std::span<const Point> points, double omega) {
  double c = 0, s = 0, cc = 0, ss = 0, cs = 0, y = 0, yc = 0, ys = 0, yy = 0;
  for (const Point& p : points) {
    const double ct = std::cos(omega * p.t), st = std::sin(omega * p.t);
    c += ct, s += st, cc += ct * ct, ss += st * st, cs += ct * st;
    y += p.y, yc += p.y * ct, ys += p.y * st, yy += p.y * p.y;
  }
  const double n = static_cast<double>(points.size());
  // The constant taken out.
  const double p_cc = cc - c * c / n, p_ss = ss - s * s / n, p_cs = cs - c * s / n;
  const double p_yc = yc - y * c / n, p_ys = ys - y * s / n, p_yy = yy - y * y / n;
  const double det = p_cc * p_ss - p_cs * p_cs;
  if (!(det > 1e-3 * n * n / 16)) return std::nullopt;  // too little of a cycle to tell
  Fit f;
  f.a = (p_yc * p_ss - p_ys * p_cs) / det;
  f.b = (p_ys * p_cc - p_yc * p_cs) / det;
  f.mean = (y - f.a * c - f.b * s) / n;
  f.left = std::max(0.0, p_yy - f.a * p_yc - f.b * p_ys);
  return f;
}

std::vector<Point> thinned(std::span<const Point> points) {
  const std::size_t stride = (points.size() + kMostPoints - 1) / kMostPoints;
  std::vector<Point> result;
  for (std::size_t i = 0; i < points.size(); i += stride) result.push_back(points[i]);
  return result;
}

double sum_of_squares(std::span<const Point> points) {
  double sum = 0, squares = 0;
  for (const Point& p : points) sum += p.y;
  const double mean = sum / static_cast<double>(points.size());
  for (const Point& p : points) squares += (p.y - mean) * (p.y - mean);
  return squares;
}

double swing_of(std::span<const Point> points) {
  std::vector<double> values;
  for (const Point& p : points) values.push_back(p.y);
  if (values.size() < 2) return 0;
  std::sort(values.begin(), values.end());
  const auto cut = static_cast<std::size_t>(0.02 * static_cast<double>(values.size()));
  return (values[values.size() - 1 - cut] - values[cut]) / 2;
}

// How often the values turn round by more than `by`.
unsigned reversals(std::span<const Point> points, double by) {
  unsigned count = 0;
  int direction = 0;
  double extreme = points.front().y, low = extreme, high = extreme;
  for (const Point& p : points) {
    if (direction == 0) {
      low = std::min(low, p.y), high = std::max(high, p.y);
      if (p.y - low > by)
        direction = 1, extreme = p.y;
      else if (high - p.y > by)
        direction = -1, extreme = p.y;
      continue;
    }
    if (direction * (p.y - extreme) > 0) {
      extreme = p.y;
    } else if (direction * (extreme - p.y) > by) {
      ++count;
      direction = -direction;
      extreme = p.y;
    }
  }
  return count;
}

std::optional<Oscillation> find(std::vector<Point> points, double least_amplitude, PeriodRange periods) {
  if (points.size() < 8 || !(least_amplitude > 0)) return std::nullopt;
  const double start = points.front().t;
  for (Point& p : points) p.t -= start;
  const double length = points.back().t;
  if (!(length > 2 * periods.least_s)) return std::nullopt;
  // Numbers near zero keep the sums exact.
  double middle = 0;
  for (const Point& p : points) middle += p.y / static_cast<double>(points.size());
  for (Point& p : points) p.y -= middle;
  if (swing_of(points) < 0.8 * least_amplitude) return std::nullopt;

  const std::vector<Point> few = thinned(points);
  const double n = static_cast<double>(few.size());
  const double all = sum_of_squares(few);
  if (!(all > 0)) return std::nullopt;
  // Neither faster than the samples tell nor slower than the stretch.
  const double least_period = std::max(periods.least_s, 2.5 * length / n);
  const double lowest = std::max(1 / periods.greatest_s, kFewCycles / length), highest = 1 / least_period;
  if (!(highest > lowest)) return std::nullopt;
  const double step = 1 / (6 * length);
  double best_frequency = 0, best_left = all;
  for (unsigned i = 0;; ++i) {
    const double frequency = lowest + i * step;
    if (frequency > highest || i > 4000) break;
    const auto f = fit(few, 2 * std::numbers::pi * frequency);
    if (f && f->left < best_left) best_left = f->left, best_frequency = frequency;
  }
  if (best_frequency <= 0) return std::nullopt;
  double width = step;
  for (int round = 0; round < 8; ++round, width /= 2)
    for (const double frequency : {best_frequency - width / 2, best_frequency + width / 2}) {
      if (frequency < lowest || frequency > highest) continue;
      const auto f = fit(few, 2 * std::numbers::pi * frequency);
      if (f && f->left < best_left) best_left = f->left, best_frequency = frequency;
    }
  const double omega = 2 * std::numbers::pi * best_frequency;
  const auto best = fit(few, omega);
  if (!best) return std::nullopt;
  const double explained = 1 - best->left / all;
  const double cycles = length * best_frequency;
  if (explained < (cycles >= 4 ? kExplainedLong : kExplainedShort)) return std::nullopt;

  // Steady: as strong at the end as at the beginning; what dies away is the rest of a step.
  const auto half = static_cast<std::ptrdiff_t>(few.size() / 2);
  const std::span<const Point> early(few.begin(), few.begin() + half), late(few.begin() + half, few.end());
  const double swing_early = swing_of(early), swing_late = swing_of(late);
  if (cycles >= 1.5 && std::min(swing_early, swing_late) < kSteady * std::max(swing_early, swing_late))
    return std::nullopt;
  // A slow drift or the end of an approach fits less than two cycles of a sine, but it does not turn round
  // twice.
  // What is left beside the sine of few cycles is rather the end of a step than the swing's form.
  const double amplitude =
      explained > 0.9 || cycles < 3 ? best->amplitude() : std::max(best->amplitude(), swing_of(points));
  const unsigned turns = reversals(points, 0.8 * amplitude);
  if (turns < (cycles >= 1.5 ? 2u : 1u)) return std::nullopt;
  if (amplitude < least_amplitude) return std::nullopt;
  return Oscillation{amplitude, 1 / best_frequency, cycles, best->mean + middle};
}

}  // namespace

std::optional<Oscillation> find_oscillation(std::span<const RateSample> samples, double least_amplitude,
                                            PeriodRange periods) {
  std::vector<Point> points;
  points.reserve(samples.size());
  for (const RateSample& sample : samples) points.push_back({sample.t_s, sample.rate});
  return find(std::move(points), least_amplitude, periods);
}

std::optional<Oscillation> find_speed_oscillation(std::span<const RateSample> samples, double least_mm_s,
                                                  PeriodRange periods) {
  std::vector<Point> points;
  points.reserve(samples.size());
  for (const RateSample& sample : samples)
    if (std::isfinite(sample.speed_mm_s)) points.push_back({sample.t_s, sample.speed_mm_s});
  return find(std::move(points), least_mm_s, periods);
}

void HuntingJudge::add(const Oscillation& oscillation, double share_of_set) {
  if (entries_.size() < kMost) entries_.push_back({oscillation, share_of_set});
}

void HuntingJudge::add_stretch(std::span<const RateSample> samples, double set) {
  if (samples.size() < 4 || !(std::abs(set) > 0) || stretches_.size() >= kMost) return;
  const std::size_t stride = (samples.size() + kMostPerStretch - 1) / kMostPerStretch;
  Stretch stretch{points_.size(), 0, std::abs(set), half_range(samples) / std::abs(set)};
  if (points_.size() + samples.size() / stride + 1 > kMostPoints) return;
  double sum = 0;
  for (std::size_t i = 0; i < samples.size(); i += stride) {
    points_.push_back({samples[i].t_s, samples[i].rate / std::abs(set)});
    sum += points_.back().y;
    ++stretch.count;
  }
  for (std::size_t i = stretch.first; i < points_.size(); ++i)
    points_[i].y -= sum / static_cast<double>(stretch.count);
  stretches_.push_back(stretch);
}

std::optional<HuntingJudge::Hunting> HuntingJudge::found(double least_share, PeriodRange periods) const {
  const auto strong = [&](const std::optional<Hunting>& one) {
    return one && one->share_of_set >= least_share;
  };
  if (const auto by_stretch = agreeing(); strong(by_stretch)) return by_stretch;
  if (const auto through_all = going_on(least_share, periods); strong(through_all)) return through_all;
  return std::nullopt;
}

// One sine through all stretches that swing, each around its own mean: finds slow swings where the set rate
// changes often.
std::optional<HuntingJudge::Hunting> HuntingJudge::going_on(double least_share, PeriodRange periods) const {
  std::vector<Stretch> used;
  double longest = 0, covered = 0, all = 0, set = 0;
  std::size_t count = 0;
  for (const Stretch& stretch : stretches_) {
    if (stretch.half_range < 0.4 * least_share) continue;
    const double length = points_[stretch.first + stretch.count - 1].t - points_[stretch.first].t;
    used.push_back(stretch);
    longest = std::max(longest, length);
    covered += length;
    count += stretch.count;
    set += length * stretch.set;
    for (std::size_t i = 0; i < stretch.count; ++i) all += std::pow(points_[stretch.first + i].y, 2);
  }
  if (used.size() < 3 || count < 24 || !(longest > 0) || !(all > 0)) return std::nullopt;
  const double start = points_[used.front().first].t;
  const double span = points_[used.back().first + used.back().count - 1].t - start;
  const double slowest = std::min({periods.greatest_s, 1.3 * longest, covered / kThroughCycles});
  const double fastest = std::max(periods.least_s, 2.5 * covered / static_cast<double>(count));
  if (!(slowest > fastest)) return std::nullopt;
  const double step = std::max(1 / (6 * span), (1 / fastest - 1 / slowest) / 1500);
  double best_left = all, best_frequency = 0, best_amplitude = 0;
  for (double frequency = 1 / slowest; frequency <= 1 / fastest; frequency += step) {
    const double omega = 2 * std::numbers::pi * frequency;
    double cc = 0, ss = 0, cs = 0, yc = 0, ys = 0;
    for (const Stretch& stretch : used) {
      double c = 0, s = 0, g_cc = 0, g_ss = 0, g_cs = 0;
      for (std::size_t i = stretch.first; i < stretch.first + stretch.count; ++i) {
        const double angle = omega * (points_[i].t - start);
        const double ct = std::cos(angle), st = std::sin(angle);
        c += ct, s += st, g_cc += ct * ct, g_ss += st * st, g_cs += ct * st;
        yc += points_[i].y * ct, ys += points_[i].y * st;
      }
      const double n = static_cast<double>(stretch.count);
      cc += g_cc - c * c / n, ss += g_ss - s * s / n, cs += g_cs - c * s / n;
    }
    const double det = cc * ss - cs * cs;
    if (!(det > 1e-3 * std::pow(static_cast<double>(count), 2) / 16)) continue;
    const double a = (yc * ss - ys * cs) / det, b = (ys * cc - yc * cs) / det;
    const double left = all - a * yc - b * ys;
    if (left < best_left) best_left = left, best_frequency = frequency, best_amplitude = std::hypot(a, b);
  }
  if (best_frequency <= 0 || 1 - best_left / all < kExplainedThrough) return std::nullopt;
  Hunting result;
  result.share_of_set = best_amplitude;
  result.stretches = used.size();
  result.oscillation = {best_amplitude * set / covered, 1 / best_frequency, covered * best_frequency, 0};
  return result;
}

std::optional<HuntingJudge::Hunting> HuntingJudge::agreeing() const {
  std::optional<Hunting> best;
  for (const Entry& middle : entries_) {
    // A stretch of one cycle knows its period to a third only.
    Hunting sum;
    double cycles = 0;
    for (const Entry& entry : entries_) {
      const double ratio = entry.oscillation.period_s / middle.oscillation.period_s;
      const double apart = std::min(entry.oscillation.cycles, middle.oscillation.cycles) < 2 ? 1.35 : 1.2;
      if (ratio > apart || ratio < 1 / apart) continue;
      const double weight = entry.oscillation.cycles;
      cycles += weight;
      sum.oscillation.amplitude += weight * entry.oscillation.amplitude;
      // Long stretches know the period best.
      sum.oscillation.period_s += weight * weight * entry.oscillation.period_s;
      sum.oscillation.mean += weight * entry.oscillation.mean;
      sum.oscillation.cycles += weight * weight;
      sum.share_of_set += weight * entry.share;
      ++sum.stretches;
    }
    if (cycles < kEnoughCycles || (best && best->oscillation.cycles >= cycles)) continue;
    sum.oscillation.amplitude /= cycles;
    sum.oscillation.period_s /= sum.oscillation.cycles;
    sum.oscillation.mean /= cycles;
    sum.share_of_set /= cycles;
    sum.oscillation.cycles = cycles;
    best = sum;
  }
  return best;
}

}  // namespace tramlog
