#include "implement/meter_trace.hpp"

#include <algorithm>
#include <cmath>

namespace tramlog {

RateTrace drawn_line(std::span<const RateSample> samples, Sampling sampling, double until_s) {
  RateTrace line;
  if (samples.empty()) return line;
  line.reserve(samples.size() + 8);
  for (const RateSample& sample : samples) {
    if (!line.empty() && sampling.gap_s > 0) {
      const RateSample last = line.back();
      if (sample.t_s - last.t_s > 1.5 * sampling.gap_s)
        line.push_back({sample.t_s - sampling.gap_s, last.rate, last.speed_mm_s});
    }
    line.push_back(sample);
  }
  if (sampling.on_change && line.back().t_s < until_s)
    line.push_back({until_s, line.back().rate, line.back().speed_mm_s});
  return line;
}

double value_at(const RateTrace& line, double t_s) {
  const auto after = std::upper_bound(line.begin(), line.end(), t_s,
                                      [](double t, const RateSample& sample) { return t < sample.t_s; });
  if (after == line.begin()) return line.front().rate;
  if (after == line.end()) return line.back().rate;
  const RateSample& a = *(after - 1);
  const RateSample& b = *after;
  const double span = b.t_s - a.t_s;
  return span > 0 ? a.rate + (b.rate - a.rate) * (t_s - a.t_s) / span : b.rate;
}

double mean_between(const RateTrace& line, double from_s, double to_s) {
  if (!(to_s > from_s)) return value_at(line, from_s);
  double area = 0, t = from_s, value = value_at(line, from_s);
  auto next = std::upper_bound(line.begin(), line.end(), from_s,
                               [](double at, const RateSample& sample) { return at < sample.t_s; });
  for (; next != line.end() && next->t_s < to_s; ++next) {
    area += (next->t_s - t) * (value + next->rate) / 2;
    t = next->t_s;
    value = next->rate;
  }
  area += (to_s - t) * (value + value_at(line, to_s)) / 2;
  return area / (to_s - from_s);
}

double noise_of(std::span<const RateSample> samples) {
  if (samples.size() < 3) return 0;
  std::vector<double> differences;
  differences.reserve(samples.size());
  // Of each value from the straight line between its neighbours: a ramp is no noise.
  for (std::size_t i = 1; i + 1 < samples.size(); ++i)
    differences.push_back(std::abs(samples[i].rate - (samples[i - 1].rate + samples[i + 1].rate) / 2));
  const auto middle = differences.begin() + static_cast<std::ptrdiff_t>(differences.size() / 2);
  std::nth_element(differences.begin(), middle, differences.end());
  return *middle * 1.4826 / std::sqrt(1.5);
}

double half_range(std::span<const RateSample> samples) {
  if (samples.empty()) return 0;
  const auto [least, greatest] =
      std::minmax_element(samples.begin(), samples.end(),
                          [](const RateSample& a, const RateSample& b) { return a.rate < b.rate; });
  return (greatest->rate - least->rate) / 2;
}

void ThinnedNumbers::add(double value) {
  if (passed_++ % stride_ != 0) return;
  if (values_.size() >= kMost) {
    std::size_t kept = 0;
    for (std::size_t i = 0; i < values_.size(); i += 2) values_[kept++] = values_[i];
    values_.resize(kept);
    stride_ *= 2;
  }
  values_.push_back(value);
  stale_ = true;
}

double ThinnedNumbers::quantile(double share) const {
  if (values_.empty()) return 0;
  if (stale_) {
    sorted_ = values_;
    std::sort(sorted_.begin(), sorted_.end());
    stale_ = false;
  }
  const auto place = static_cast<std::size_t>(share * static_cast<double>(sorted_.size() - 1) + 0.5);
  return sorted_[std::min(place, sorted_.size() - 1)];
}

}  // namespace tramlog
