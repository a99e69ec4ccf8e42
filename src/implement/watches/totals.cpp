// Counters of what was delivered and worked, against rate x working width x speed (fact sheet, process
// data, 5.5 and R9, R10 of 5.9).
#include <algorithm>
#include <map>

#include "implement/families.hpp"
#include "implement/totals_lines.hpp"
#include "implement/totals_width.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {

extern const DeviceWatchKind totals;

namespace {

constexpr std::uint16_t kArea = 116;
constexpr std::size_t kMaxRates = 64, kMaxCounters = 256;
constexpr double kMmPerM = 1000;

/// Counters that only grow: task totals and lifetime totals (5.5).
bool is_counter(std::uint16_t ddi) {
  const auto within = [ddi](unsigned first, unsigned last) { return ddi >= first && ddi <= last; };
  return within(80, 82) || within(89, 91) || within(kArea, 120) || ddi == 148 || within(266, 276) ||
         ddi == 325 || within(351, 357) || within(597, 602);
}

/// Base units of one unit of this task total and what it counts.
struct Counted {
  Amount amount = Amount::none;
  double base_per_unit = 0;
};
bool counts(const QuantityFamily& family, std::uint16_t total) {
  return std::any_of(family.task_totals.begin(), family.task_totals.end(),
                     [total](const FamilyTotal& one) { return one.ddi == total && one.ddi != kNoDdi; });
}
Counted counted_by(std::uint16_t total) {
  for (const QuantityFamily& family : quantity_families())
    for (const FamilyTotal& one : family.task_totals)
      if (one.ddi == total && one.ddi != kNoDdi) return {family.amount, one.base_per_unit};
  return {};
}

bool can_be_integrated(const QuantityFamily& family) {
  return family.amount != Amount::none && family.base_per_unit > 0 &&
         (family.per == RatePer::area || family.per == RatePer::time || family.per == RatePer::distance);
}

class Totals final : public DeviceWatch {
 public:
  explicit Totals(const Device& device) : device_(device), width_(device) {}

  void on_value(const ProcessValue& value) override {
    const bool widths = width_.take(value);
    if (value.by_device) take_rate(value);
    if (is_counter(value.variable.ddi)) take_counter(value);
    if (widths) {
      set_widths();
      set_paces(value.at.time);
    }
  }

  void on_pool() override {
    width_.forget();
    for (auto& [variable, total] : totals_) total.judged.counter.sources_changed();
    find_sources();
    set_widths();
    set_paces(device_.now);
  }

  void on_speed(Mark at) override { set_paces(at.time); }
  // A speed that is not told any more.
  void on_time(TimeNs now) override {
    if (speed_ && !device_.machine.speed_mm_s(now)) set_paces(now);
  }

  void on_task(bool active, Mark at) override {
    for (auto& [variable, total] : totals_)
      total.judged.counter.task_edge(active, at, so_far(total, at.time));
  }

  void on_blind() override { interrupt(); }
  void on_break(Mark) override { interrupt(); }

  void conclude(TimeNs, ImplementRecord& out) override {
    std::map<ProcessVariable, JudgedTotal> all;
    for (const auto& [variable, total] : totals_) all.emplace(variable, total.judged);
    tell_totals(device_, all, out);
  }

 private:
  struct Rate {
    const QuantityFamily* family = nullptr;
    RateIntegral integral;
    std::optional<double> width_m;  // as of the latest value that tells one
  };
  struct Total {
    JudgedTotal judged;
    std::vector<ProcessVariable> sources;  // keys of rates_
    RateIntegral area;                     // only of an area
    std::optional<double> width_m;         // likewise
  };

  void interrupt() {
    for (auto& [variable, total] : totals_) total.judged.counter.interrupted();
  }

  std::optional<SpanNs> asked_period(ProcessVariable variable) const {
    const ValueEntry* entry = device_.values.find(variable);
    if (entry == nullptr || !entry->measurements[0] || entry->measurements[0]->refused) return std::nullopt;
    return static_cast<SpanNs>(entry->measurements[0]->raw) * kMillisecond;
  }

  std::optional<double> pace_of(RatePer per, std::optional<double> width_m) const {
    if (per == RatePer::time) return 1.0;
    if (!speed_) return std::nullopt;
    const double m_s = *speed_ / kMmPerM;
    if (m_s == 0) return 0.0;
    if (per == RatePer::distance) return device_.any_section_on().value_or(true) ? m_s : 0.0;
    return width_m ? std::optional(m_s * *width_m) : std::nullopt;
  }

  void set_widths() {
    for (auto& [variable, rate] : rates_)
      if (rate.family->per == RatePer::area) rate.width_m = width_.of(variable.element).m;
    for (auto& [variable, total] : totals_)
      if (total.judged.is_area) total.width_m = width_.of(variable.element).m;
  }

  void set_paces(TimeNs now) {
    speed_ = device_.machine.speed_mm_s(now);
    for (auto& [variable, rate] : rates_)
      rate.integral.set_pace(now, pace_of(rate.family->per, rate.width_m));
    for (auto& [variable, total] : totals_)
      if (total.judged.is_area) set_area_pace(total, now);
  }

  void set_area_pace(Total& total, TimeNs now) {
    const auto pace = pace_of(RatePer::area, total.width_m);
    // Counters count what is worked: without work state no area, whatever width is told.
    const bool off = device_.work_state() == false;
    total.area.set_pace(now, off ? std::optional(0.0) : pace);
    if (pace && total.width_m) total.judged.has_source = true;
  }

  void take_rate(const ProcessValue& value) {
    const QuantityFamily* family = family_of(value.variable.ddi);
    if (family == nullptr || family->actual != value.variable.ddi || !can_be_integrated(*family)) return;
    auto found = rates_.find(value.variable);
    if (found == rates_.end()) {
      if (rates_.size() >= kMaxRates) return;
      found = rates_.emplace(value.variable, Rate{family, {}, {}}).first;
      set_widths();
      speed_ = device_.machine.speed_mm_s(value.at.time);
      found->second.integral.set_pace(value.at.time, pace_of(family->per, found->second.width_m));
      find_sources();
    }
    const double raw = static_cast<double>(std::max<std::int64_t>(0, value.raw));
    found->second.integral.sample(value.at.time,
                                  device_.in_units(value.variable.ddi, raw) * family->base_per_unit,
                                  asked_period(value.variable));
  }

  void take_counter(const ProcessValue& value) {
    auto found = totals_.find(value.variable);
    if (found == totals_.end()) {
      if (!value.by_device || totals_.size() >= kMaxCounters) return;
      found = totals_.emplace(value.variable, Total()).first;
      Total& made = found->second;
      made.judged.variable = value.variable;
      made.judged.is_area = value.variable.ddi == kArea;
      const double base = made.judged.is_area ? 1.0 : counted_by(value.variable.ddi).base_per_unit;
      made.judged.amount_per_count = base * device_.in_units(value.variable.ddi, 1);
      find_sources();
      if (made.judged.is_area) {
        set_widths();
        speed_ = device_.machine.speed_mm_s(value.at.time);
        set_area_pace(made, value.at.time);
        made.area.sample(value.at.time, 1, std::nullopt);
      }
    }
    TotalCounter& counter = found->second.judged.counter;
    if (!value.by_device)
      counter.written(value.at);
    else
      counter.report(value.raw, value.at, so_far(found->second, value.at.time),
                     found->second.judged.amount_per_count, device_.limits["total.frozen_s"]);
  }

  Delivered so_far(const Total& total, TimeNs now) const {
    if (total.judged.is_area) return total.area.at(now);
    Delivered sum;
    for (const ProcessVariable source : total.sources) {
      const Delivered one = rates_.at(source).integral.at(now);
      sum.amount += one.amount;
      // Times of several rates are not summed: each of them alone leaves the sum incomplete.
      sum.gap_s += one.gap_s;
      sum.active_s = std::max(sum.active_s, one.active_s);
    }
    return sum;
  }

  /// Which rates a total adds up: those of its element, else of what stands below it, else the one above it
  /// that no other total of this kind shares.
  void find_sources() {
    for (auto& [variable, total] : totals_) {
      if (total.judged.is_area || total.judged.amount_per_count <= 0) continue;
      std::vector<ProcessVariable> sources = sources_of(variable);
      if (sources == total.sources) continue;
      const bool only_more =
          std::includes(sources.begin(), sources.end(), total.sources.begin(), total.sources.end());
      // A rate that begins to be told while nothing is delivered leaves the sum right.
      if (!only_more || device_.working().value_or(true)) total.judged.counter.sources_changed();
      total.sources = std::move(sources);
      total.judged.has_source = !total.sources.empty();
    }
  }

  std::vector<ProcessVariable> sources_of(ProcessVariable total) const {
    std::map<std::uint16_t, ProcessVariable> at;  // the one rate of each element
    for (const auto& [variable, rate] : rates_) {
      if (!counts(*rate.family, total.ddi)) continue;
      // Of several, the one that needs the least else: per time, then per distance.
      const auto rank = [](RatePer per) {
        return per == RatePer::time ? 0 : per == RatePer::distance ? 1 : 2;
      };
      const auto [place, fresh] = at.emplace(variable.element, variable);
      if (!fresh && rank(rate.family->per) < rank(rates_.at(place->second).family->per))
        place->second = variable;
    }
    std::vector<ProcessVariable> sources;
    if (const auto own = at.find(total.element); own != at.end()) return {own->second};
    for (const auto& [element, variable] : at) {
      const auto above = elements_above(device_, element);
      if (std::find(above.begin(), above.end(), total.element) != above.end()) sources.push_back(variable);
    }
    if (!sources.empty()) return sources;
    const auto above = elements_above(device_, total.element);
    for (const std::uint16_t one : above) {
      const auto shared = at.find(one);
      if (shared == at.end()) continue;
      std::size_t sharers = 0;
      for (const auto& [other, unused] : totals_)
        if (other.ddi == total.ddi) {
          const auto its = elements_above(device_, other.element);
          if (std::find(its.begin(), its.end(), one) != its.end()) ++sharers;
        }
      if (sharers <= 1) return {shared->second};
    }
    return {};
  }

  const Device& device_;
  WorkingWidth width_;
  std::optional<double> speed_;
  std::map<ProcessVariable, Rate> rates_;
  std::map<ProcessVariable, Total> totals_;
};

}  // namespace

const DeviceWatchKind totals{"totals", [](const Device& device) -> std::unique_ptr<DeviceWatch> {
                               return std::make_unique<Totals>(device);
                             }};

}  // namespace tramlog::watches
