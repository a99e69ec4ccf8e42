#include "stage/power.hpp"

#include <algorithm>
#include <cmath>

#include "stage/random.hpp"

namespace tramlog::stage {
namespace {

using What = HappeningSpec::What;

constexpr SpanNs kStarterBites = 20 * kMillisecond, kStarterLeaves = 50 * kMillisecond;
constexpr SpanNs kAlternatorExcited = 1500 * kMillisecond;
constexpr double kRiseWhileCranking = 2.5;  // V

double tenths(std::uint64_t seed, std::int64_t low, std::int64_t high) {
  Random random(seed);
  return static_cast<double>(random.between(low, high)) / 10;
}

std::uint64_t moment(const HappeningSpec& event) {
  return static_cast<std::uint64_t>(event.at);
}

}  // namespace

VoltageCurve::VoltageCurve(const Knots& knots) {
  for (const auto& [time, volts] : knots) points_.push_back({time, volts});
}

double VoltageCurve::at(TimeNs time) const {
  if (points_.empty()) return level_;
  if (time <= points_.front().time) return points_.front().volts;
  for (std::size_t i = 1; i < points_.size(); ++i) {
    if (time > points_[i].time) continue;
    const Point &a = points_[i - 1], &b = points_[i];
    if (b.time == a.time) return b.volts;
    return a.volts +
           (b.volts - a.volts) * static_cast<double>(time - a.time) / static_cast<double>(b.time - a.time);
  }
  return points_.back().volts;
}

void VoltageCurve::cut(TimeNs time) {
  const double volts = at(time);
  std::erase_if(points_, [&](const Point& point) { return point.time >= time; });
  points_.push_back({time, volts});
}

void VoltageCurve::line_to(TimeNs time, double volts) {
  if (!points_.empty()) std::erase_if(points_, [&](const Point& point) { return point.time >= time; });
  points_.push_back({time, volts});
}

VoltageCurve VoltageCurve::lowered(double volts) const {
  VoltageCurve other = *this;
  other.level_ = std::max(0.0, level_ - volts);
  for (Point& point : other.points_) point.volts = std::max(0.0, point.volts - volts);
  return other;
}

std::vector<VoltageCurve::Below> VoltageCurve::below(double limit) const {
  std::vector<Below> found;
  const double first = points_.empty() ? level_ : points_.front().volts;
  if (first < limit) found.push_back({points_.empty() ? 0 : std::min<TimeNs>(0, points_.front().time), {}});
  for (std::size_t i = 1; i < points_.size(); ++i) {
    const Point &a = points_[i - 1], &b = points_[i];
    if ((a.volts < limit) == (b.volts < limit)) continue;
    const double share = (limit - a.volts) / (b.volts - a.volts);
    const TimeNs crossing = a.time + std::llround(share * static_cast<double>(b.time - a.time));
    if (b.volts < limit) {
      found.push_back({crossing, {}});
    } else {
      found.back().end = crossing;
    }
  }
  return found;
}

void crank(VoltageCurve& curve, TimeNs at, SpanNs length, double lowest, const PowerSpec& power) {
  curve.cut(at);
  curve.line_to(at + kStarterBites, lowest);
  curve.line_to(at + std::max(length * 3 / 10, kStarterBites + kMillisecond), lowest);
  curve.line_to(at + length, std::min(lowest + kRiseWhileCranking, power.battery));
  curve.line_to(at + length + kStarterLeaves, power.battery);
  curve.line_to(at + length + kStarterLeaves + kAlternatorExcited, power.alternator);
}

VoltageCurve machine_voltage(const Scenario& scenario) {
  const PowerSpec& power = scenario.power;
  VoltageCurve curve(engine_runs_at_start(scenario) ? power.alternator : power.battery);
  std::vector<const HappeningSpec*> events;
  for (const HappeningSpec& event : scenario.happenings) {
    if (event.what == What::crank || event.what == What::voltage) events.push_back(&event);
  }
  std::stable_sort(events.begin(), events.end(), [](auto* a, auto* b) { return a->at < b->at; });
  for (const HappeningSpec* event : events) {
    if (event->what == What::crank) {
      crank(curve, event->at, crank_length(scenario, *event), crank_volts(scenario, *event), power);
    } else {
      curve.cut(event->at);
      curve.line_to(event->at + event->length.value_or(kMillisecond), event->volts.value_or(power.battery));
    }
  }
  return curve;
}

VoltageCurve voltage_at(const Scenario& scenario, const VoltageCurve& machine,
                        const ControllerSpec& controller) {
  for (const SupplySpec& supply : scenario.supplies) {
    if (supply.name != controller.supply) continue;
    return supply.profile.empty() ? machine.lowered(supply.drop) : VoltageCurve(supply.profile);
  }
  return machine;
}

double brown_out_volts(const Scenario& scenario, const ControllerSpec& controller) {
  if (controller.brown_out) return *controller.brown_out;
  return tenths(seed_for(scenario.seed, controller.label, 0xB0), 65, 90);
}

std::uint8_t low_voltage_fmi(const Scenario& scenario, const ControllerSpec& controller) {
  if (controller.low_voltage_fmi) return *controller.low_voltage_fmi;
  return seed_for(scenario.seed, controller.label, 0xF1) % 2 == 0 ? 1 : 18;
}

double crank_volts(const Scenario& scenario, const HappeningSpec& event) {
  if (event.volts) return *event.volts;
  return tenths(seed_for(scenario.seed, "crank volts", moment(event)), 60, 80);
}

SpanNs crank_length(const Scenario& scenario, const HappeningSpec& event) {
  if (event.length) return *event.length;
  Random random(seed_for(scenario.seed, "crank length", moment(event)));
  return random.between(500, 2000) * kMillisecond;
}

bool voltage_moves(const Scenario& scenario) {
  return std::any_of(scenario.happenings.begin(), scenario.happenings.end(),
                     [](const HappeningSpec& event) {
                       return event.what == What::crank || event.what == What::voltage;
                     }) ||
         std::any_of(scenario.supplies.begin(), scenario.supplies.end(),
                     [](const SupplySpec& supply) { return !supply.profile.empty(); });
}

bool engine_runs_at_start(const Scenario& scenario) {
  if (scenario.power.running) return *scenario.power.running;
  return std::none_of(scenario.happenings.begin(), scenario.happenings.end(),
                      [](const HappeningSpec& event) { return event.what == What::crank; });
}

}  // namespace tramlog::stage
