#include "stage/drill.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace tramlog::stage {
namespace {

constexpr double kStepS = 0.005;
constexpr unsigned kNoiseEvery = 20;              // steps: the sensor's noise changes every 100 ms
constexpr std::size_t kMaxTrace = 200 * 60 * 60;  // an hour; an endless run keeps no more
constexpr std::size_t kMaxListed = 1000;
constexpr SpanNs kImplementFollows =
    250 * kMillisecond;  // the implement's own work switch after the master's
constexpr SpanNs kSectionScatter = 20 * kMillisecond;
constexpr double kBlowerTimeConstant = 2.0;

double part(Random& random) {  // -1 .. 1
  return static_cast<double>(random.between(-1'000'000, 1'000'000)) / 1e6;
}

double or_default(double strength, double otherwise) {
  return strength == 0 ? otherwise : strength;
}

}  // namespace

double ramped(const Knots& knots, TimeNs now, double otherwise) {
  if (knots.empty()) return otherwise;
  if (now <= knots.front().first) return knots.front().second;
  for (std::size_t i = 1; i < knots.size(); ++i) {
    if (now >= knots[i].first) continue;
    const double span = static_cast<double>(knots[i].first - knots[i - 1].first);
    const double share = static_cast<double>(now - knots[i - 1].first) / span;
    return knots[i - 1].second + share * (knots[i].second - knots[i - 1].second);
  }
  return knots.back().second;
}

double stepped(const Knots& knots, TimeNs now, double otherwise) {
  double value = otherwise;
  for (const auto& [at, knot] : knots) {
    if (at <= now) value = knot;
  }
  return value;
}

Meter::Meter(const MeterSpec& spec, std::uint64_t seed) : content(spec.content), spec_(spec), random_(seed) {}

void Meter::set(double raw, TimeNs now, TimeNs stamp, bool working, const FaultSpec* dead) {
  if (changes.size() < kMaxListed) changes.push_back({now, stamp, set_, raw, working});
  set_ = raw;
  if (dead != nullptr) return;
  coming_.emplace_back(now, raw);
}

void Meter::step(TimeNs now, bool working, const std::vector<FaultSpec>& faults, unsigned number) {
  double dead_time = to_seconds(spec_.dead_time), time_constant = to_seconds(spec_.time_constant);
  double error = spec_.settled_error_pct, damping = spec_.damping, ripple = 0;
  unsigned order = spec_.order;
  bool flows = true;
  for (const FaultSpec& fault : faults) {
    if (fault.meter != number || !fault.active(now)) continue;
    switch (fault.what) {
      case Trouble::meter_slow:
        if (fault.how == "rise-time") {
          order = 1;
          time_constant = or_default(fault.strength, 3.5);
        } else {
          dead_time = or_default(fault.strength, 5.0);
        }
        break;
      case Trouble::meter_offset:
        error = or_default(fault.strength, 6.0);
        break;
      case Trouble::meter_overshoot:
        order = 2;
        damping = or_default(fault.strength, 0.25);
        break;
      case Trouble::meter_hunting:
        ripple = or_default(fault.strength, 9.0) / 100 * set_ *
                 std::sin(2 * std::numbers::pi * to_seconds(now - fault.at) / to_seconds(fault.period));
        break;
      case Trouble::meter_flow_stopped:
        flows = false;
        break;
      default:
        break;
    }
  }
  while (!coming_.empty() && to_seconds(now - coming_.front().first) >= dead_time - 1e-9) {
    driven_ = coming_.front().second;
    coming_.erase(coming_.begin());
  }
  const double aim = driven_ <= 0 ? 0 : std::min(driven_ + error / 100 * spec_.maximum, spec_.maximum);
  if (fresh_ && driven_ > 0) {  // the first rate is there before work begins
    state_ = aim;
    fresh_ = false;
  }
  if (order >= 2) {
    const double natural = 1 / time_constant;
    slope_ += kStepS * (natural * natural * (aim - state_) - 2 * damping * natural * slope_);
    state_ += kStepS * slope_;
  } else {
    state_ += (aim - state_) * (1 - std::exp(-kStepS / time_constant));
    slope_ = 0;
  }
  rate_ = std::clamp(state_ + (driven_ > 0 ? ripple : 0), 0.0, spec_.maximum * 1.5);
  delivered_ = working && flows ? rate_ : 0;
  if (steps_++ % kNoiseEvery == 0) noise_ = spec_.noise_pct / 100 * part(random_);
  if (trace.size() < kMaxTrace) trace.push_back(static_cast<float>(delivered_));
}

Drill::Drill(const ImplementSpec& spec, std::uint64_t seed)
    : sections(spec.sections.size()), spec_(spec), random_(seed) {
  meters.reserve(spec.meters.size());
  for (const MeterSpec& meter : spec.meters) meters.emplace_back(meter, random_.next());
}

const FaultSpec* Drill::fault(Trouble what, TimeNs now) const {
  for (const FaultSpec& fault : spec_.faults) {
    if (fault.what == what && fault.active(now)) return &fault;
  }
  return nullptr;
}

void Drill::set_rate(std::size_t meter, double raw, TimeNs now, TimeNs stamp) {
  const FaultSpec* deaf = fault(Trouble::meter_dead, now);
  if (deaf == nullptr) deaf = fault(Trouble::meter_no_set_rate, now);
  if (deaf != nullptr && deaf->meter != meter + 1) deaf = nullptr;
  meters[meter].set(raw, now, stamp, working_, deaf);
}

void Drill::command_section(std::size_t index, bool on, TimeNs now) {
  Section& section = sections[index];
  if (section.commanded == on) return;
  section.commanded = on;
  section.changes_at.reset();
  if (section.open == on) return;
  SpanNs delay = on ? spec_.sections[index].on_delay : spec_.sections[index].off_delay;
  for (const FaultSpec& fault : spec_.faults) {
    if (fault.section != index + 1 || !fault.active(now)) continue;
    if (fault.what == Trouble::section_stuck_on && !on) return;
    if (fault.what == Trouble::section_stuck_off && on) return;
    if (fault.what == Trouble::section_overridden) return;
    const double more = or_default(fault.strength, 3.2);
    if (fault.what == Trouble::section_late && on) delay = static_cast<SpanNs>(more * 1e9);
    if (fault.what == Trouble::section_late_off && !on) delay = static_cast<SpanNs>(more * 1e9);
  }
  section.command_at = now;
  section.command_working = implement_;
  section.changes_at = now + delay + random_.between(-kSectionScatter, kSectionScatter);
}

void Drill::step_sections(TimeNs now) {
  on_width_m_ = 0;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    Section& section = sections[i];
    if (section.changes_at && now >= *section.changes_at) {
      section.changes_at.reset();
      section.open = section.commanded;
      auto& delays = section.open ? section.on_delays : section.off_delays;
      // Only what can be seen: without the work state on, nothing falls whatever the section does.
      if (section.command_working && implement_ && delays.size() < kMaxListed)
        delays.push_back(to_seconds(now - section.command_at));
    }
    bool open = section.open, error = false, outside = false;
    section.overridden = false;
    for (const FaultSpec& fault : spec_.faults) {
      if (fault.section != i + 1 || !fault.active(now)) continue;
      if (fault.what == Trouble::section_flicker && open) {
        const SpanNs round = (now - fault.at) % (800 * kMillisecond);
        open = round >= 300 * kMillisecond;
      }
      if (fault.what == Trouble::section_error) error = true;
      if (fault.what == Trouble::section_overridden) section.overridden = true;
      if (fault.what == Trouble::section_outside_work) outside = true;
    }
    section.on = (open && implement_) || outside;
    if (error) section.on = false;
    section.state = error ? 2 : section.on ? 1 : 0;
    if (section.on) on_width_m_ += spec_.sections[i].width_mm / 1000.0;
  }
}

void Drill::reset_totals() {
  area_m2 = distance_mm = idle_distance_mm = time_s = 0;
  for (Meter& meter : meters) meter.total = 0;
}

void Drill::step(TimeNs now) {
  speed_ = std::max(0.0, ramped(spec_.speed, now, 0));
  if (fault(Trouble::zero_while_working, now) != nullptr) speed_ = 0;
  odometer_mm += speed_ * 1000 * kStepS;
  const bool master = stepped(spec_.work, now, 0) != 0;
  if (master != master_) {
    master_ = master;
    master_since_ = now;
    if (work_changes.size() < kMaxListed) work_changes.push_back({now, true, master});
  }
  bool implement = now - master_since_ >= kImplementFollows ? master_ : implement_;
  if (fault(Trouble::implement_off, now) != nullptr) implement = false;
  if (implement != implement_) {
    implement_ = implement;
    if (work_changes.size() < kMaxListed) work_changes.push_back({now, false, implement});
  }
  step_sections(now);
  working_ = on_width_m_ > 0 && speed_ > 0 && implement_;
  for (std::size_t i = 0; i < meters.size(); ++i) {
    Meter& meter = meters[i];
    meter.step(now, working_, spec_.faults, static_cast<unsigned>(i + 1));
    const double grown =
        meter.delivered() * speed_ * kStepS * on_width_m_ * terms(spec_.meters[i].product).total_per_raw_m2;
    if (counting) meter.total += grown;
    meter.content = std::max(0.0, meter.content - grown);
  }
  if (counting) {
    if (working_) {
      area_m2 += speed_ * kStepS * on_width_m_;
      distance_mm += speed_ * 1000 * kStepS;
      time_s += kStepS;
    } else {
      idle_distance_mm += speed_ * 1000 * kStepS;
    }
  }
  double wanted = spec_.blower_rpm;
  if (const FaultSpec* low = fault(Trouble::blower_low, now))
    wanted = spec_.blower_minimum * or_default(low->strength, 80) / 100;
  blower_rpm += (wanted - blower_rpm) * (1 - std::exp(-kStepS / kBlowerTimeConstant));
  double air = spec_.pressure_mbar;
  if (const FaultSpec* low = fault(Trouble::pressure_low, now))
    air = spec_.pressure_minimum * or_default(low->strength, 60) / 100;
  pressure_mbar += (air - pressure_mbar) * (1 - std::exp(-kStepS / kBlowerTimeConstant));
}

}  // namespace tramlog::stage
