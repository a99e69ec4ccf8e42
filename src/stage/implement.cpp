#include "stage/implement.hpp"

#include <algorithm>
#include <cmath>

#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

constexpr SpanNs kQuietOnChange = 100 * kMillisecond;  // fact sheet 1.4: about 10 messages a second
constexpr SpanNs kQuietStates = 40 * kMillisecond;     // bursts are accepted for condensed states
constexpr unsigned kValuePriority = 3;

std::int64_t whole(double value) {
  return std::llround(value);
}

}  // namespace

Implement::Implement(World& world, const ImplementSpec& spec, std::uint64_t seed)
    : world_(world),
      spec_(spec),
      client_(*world.find(spec.client)),
      controller_(*world.find(spec.task_controller)),
      random_(seed),
      drill_(spec, seed_for(seed, "drill")),
      pool_(build_pool(spec, client_.spec().name)),
      numbers_(number_elements(spec)),
      totals_sent_(spec.meters.size(), -1),
      totals_true_(spec.meters.size(), 0),
      frozen_(spec.meters.size()),
      stored_(spec.stored_pool) {
  for (const MeterSpec& meter : spec.meters) set_rates_.push_back(stepped(meter.rates, 0, 0));
  add_variables();
  world.machine.drive.active = true;
  truth_.client = spec.client;
  truth_.task_controller = spec.task_controller;
  truth_.name = client_.spec().name;
  truth_.version = std::min(spec.client_version, spec.tc_version);
}

void Implement::add(unsigned element, unsigned ddi, std::function<std::int64_t()> value, bool burst) {
  Variable variable;
  variable.element = element;
  variable.ddi = ddi;
  variable.value = std::move(value);
  variable.burst = burst;
  variables_.push_back(std::move(variable));
}

Implement::Variable* Implement::find(unsigned element, unsigned ddi) {
  for (Variable& variable : variables_) {
    if (variable.element == element && variable.ddi == ddi) return &variable;
  }
  return nullptr;
}

void Implement::add_variables() {
  const unsigned device = numbers_.device, boom = numbers_.boom;
  add(
      device, 141, [this] { return drill_.master_on() ? 1 : 0; }, true);
  add(device, 116, [this] {
    const FaultSpec* wrong = drill_.fault(Trouble::area_wrong, world_.now());
    return whole(drill_.area_m2 * (1 + (wrong ? (wrong->strength == 0 ? 8 : wrong->strength) : 0) / 100));
  });
  add(device, 117, [this] { return whole(drill_.distance_mm); });
  add(device, 118, [this] { return whole(drill_.idle_distance_mm); });
  add(device, 119, [this] { return whole(drill_.time_s); });
  add(device, 397, [this] { return whole(drill_.speed() * 1000); });
  add(device, 400, [this] { return speed_source(); });
  add(
      boom, 141, [this] { return drill_.implement_on() ? 1 : 0; }, true);
  add(boom, 160, [this] { return automatic_ ? 1 : 0; });
  add(
      boom, 67, [this] { return whole(drill_.on_width_m() * 1000); }, true);
  add(boom, 70, [this] { return std::int64_t{spec_.width_mm()}; });
  for (unsigned k = 0; k * 16 < spec_.sections.size(); ++k) {
    add(
        boom, 161 + k, [this, k] { return condensed(k, false); }, true);
    add(
        boom, 367 + k, [this, k] { return condensed(k, true); }, true);
  }
  add_meter_variables();
  add(numbers_.blower, 390, [this] { return whole(drill_.blower_rpm) * 10'000; });
  if (spec_.pressure) add(numbers_.blower, 194, [this] { return whole(drill_.pressure_mbar * 10) * 100; });
}

void Implement::add_meter_variables() {
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    const ProductTerms& ddis = terms(spec_.meters[i].product);
    const unsigned bin = numbers_.first_bin + static_cast<unsigned>(i);
    add(bin, ddis.set_ddi, [this, i] { return whole(drill_.meters[i].set_rate()); });
    add(bin, ddis.actual_ddi, [this, i] { return whole(drill_.meters[i].sensed()); });
    const auto content = [this, i] {
      const FaultSpec* empty = drill_.fault(Trouble::bin_empty, world_.now());
      const bool here = empty != nullptr && empty->meter == i + 1;
      return here ? spec_.meters[i].capacity * 0.02 : drill_.meters[i].content;
    };
    add(bin, ddis.content_ddi, [content] { return whole(content()); });
    add(bin, 467, [this, i, content] { return whole(content() / spec_.meters[i].capacity * 100) * 100; });
    add(bin, ddis.total_ddi, [this, i] { return total(i); });
  }
}

std::int64_t Implement::total(std::size_t meter) {
  const double real = drill_.meters[meter].total;
  std::int64_t told = whole(real);
  const TimeNs now = world_.now();
  for (const FaultSpec& fault : spec_.faults) {
    if (fault.meter != meter + 1 || !fault.active(now)) continue;
    if (fault.what == Trouble::total_wrong)
      told = whole(real * (1 + (fault.strength == 0 ? 6 : fault.strength) / 100));
    if (fault.what == Trouble::total_back) told = whole(real * (fault.strength == 0 ? 0.4 : fault.strength));
    if (fault.what == Trouble::total_frozen) {
      if (!frozen_[meter]) frozen_[meter] = told;
      told = *frozen_[meter];
    }
  }
  return told;
}

std::int64_t Implement::condensed(unsigned group, bool overridden) const {
  std::uint32_t word = 0;
  for (unsigned i = 0; i < 16; ++i) {
    const std::size_t section = group * 16 + i;
    std::uint32_t state = 3;
    if (section < drill_.sections.size()) {
      const Section& one = drill_.sections[section];
      state = overridden ? (one.overridden ? 1 : 0) : one.state;
    }
    word |= state << (2 * i);
  }
  return word;
}

std::int64_t Implement::speed_source() const {
  // DDI 400: 6 machine selected, 1 wheel.
  return drill_.fault(Trouble::selected_lost, world_.now()) ||
                 drill_.fault(Trouble::source_fallback, world_.now())
             ? 1
             : 6;
}

void Implement::schedule() {
  truth_.speed_sources.emplace_back(world_.recorder.stamp(0), "machine selected");
  world_.agenda.call_at(0, [this] { tick(); });
  world_.agenda.call_at(50 * kMillisecond, [this] { status_round(); });
  world_.agenda.call_at(60 * kMillisecond, [this] { watch_partners(); });
  for (const auto& [at, mask] : spec_.section_masks) {
    world_.agenda.call_at(at, [this, mask = mask] { command_sections(static_cast<std::uint32_t>(mask)); });
  }
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    for (const auto& [at, raw] : spec_.meters[i].rates) {
      world_.agenda.call_at(at, [this, i, raw = raw] { set_rate(i, raw); });
    }
  }
  world_.agenda.call_at(spec_.task_start, [this] { start_task(); });
  world_.agenda.call_at(spec_.task_end, [this] { stop_task(); });
  if (spec_.requests_totals) {
    world_.agenda.call_at(spec_.task_start + 10 * kSecond, [this] { round_of_requests(); });
  }
}

void Implement::tick() {
  const TimeNs now = world_.now();
  drill_.counting = echo_;
  drill_.step(now);
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) totals_true_[i] = whole(drill_.meters[i].total);
  for (const Drill::Work& change : drill_.work_changes) {
    if (change.at != now) continue;
    truth_.work.push_back({world_.recorder.stamp(now), change.master ? "master" : "implement",
                           change.master ? numbers_.device : numbers_.boom, change.on});
  }
  const char* source = speed_source() == 6 ? "machine selected" : "wheel";
  if (truth_.speed_sources.back().second != source && truth_.speed_sources.size() < 1000)
    truth_.speed_sources.emplace_back(world_.recorder.stamp(now), source);
  show_drive();
  if (connected_) tell_due_values();
  world_.agenda.call_at(now + kDrillStep, [this] { tick(); });
}

void Implement::show_drive() {
  const TimeNs now = world_.now();
  Drive& drive = world_.machine.drive;
  const double true_mm_s = drill_.speed() * 1000;
  drive.speed_mm_s = {true_mm_s * (1 + spec_.slip_pct / 100), true_mm_s, true_mm_s,
                      true_mm_s * (1 + spec_.course_error_pct / 100)};
  drive.distance_mm = drill_.odometer_mm;
  const auto lost = [&](Trouble what, std::size_t source) {
    const FaultSpec* fault = drill_.fault(what, now);
    drive.validity[source] = fault == nullptr        ? Drive::Validity::good
                             : fault->how == "error" ? Drive::Validity::error
                                                     : Drive::Validity::not_available;
  };
  lost(Trouble::wheel_lost, 0);
  lost(Trouble::ground_lost, 1);
  lost(Trouble::selected_lost, 2);
  if (const FaultSpec* wrong = drill_.fault(Trouble::sources_differ, now)) {
    const std::size_t source = wrong->how == "ground" ? 1 : wrong->how == "selected" ? 2 : 0;
    drive.speed_mm_s[source] *= 1 + (wrong->strength == 0 ? 18 : wrong->strength) / 100;
  }
  drive.selected_source = drill_.fault(Trouble::source_fallback, now) ? 0 : 1;  // F022: 0 wheel, 1 ground
  drive.fix = drill_.fault(Trouble::fix_lost, now) ? 0 : drill_.fault(Trouble::fix_degraded, now) ? 1 : 4;
}

void Implement::tell_due_values() {
  const TimeNs now = world_.now();
  const FaultSpec* missing = drill_.fault(Trouble::value_missing, now);
  for (Variable& variable : variables_) {
    if (missing != nullptr && variable.element == numbers_.blower && variable.ddi == 390) continue;
    bool due = variable.due_now;
    if (variable.interval > 0 && now - variable.last_at >= variable.interval) due = true;
    if (variable.distance_mm > 0 &&
        drill_.odometer_mm - variable.last_odometer >= static_cast<double>(variable.distance_mm))
      due = true;
    if (!due && variable.threshold > 0 &&
        now - variable.last_at >= (variable.burst ? kQuietStates : kQuietOnChange)) {
      due = std::llabs(variable.value() - variable.last) >= variable.threshold;
    }
    if (due) tell(variable);
  }
}

void Implement::tell(Variable& variable) {
  variable.due_now = false;
  variable.last_at = world_.now();
  variable.last_odometer = drill_.odometer_mm;
  variable.last = variable.value();
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    if (variable.element == numbers_.first_bin + i &&
        variable.ddi == terms(spec_.meters[i].product).total_ddi)
      totals_sent_[i] = variable.last;
  }
  from_client(kValuePriority, process_bytes(kValue, variable.element, variable.ddi, variable.last));
}

void Implement::cancel_measurements() {
  for (Variable& variable : variables_) {
    variable.interval = 0;
    variable.distance_mm = variable.threshold = 0;
    variable.due_now = false;
  }
}

ImplementTruth Implement::truth() const {
  ImplementTruth truth = truth_;
  const TimeNs end = std::min(world_.now(), spec_.task_end);
  const auto hex = [](const auto& bytes) {
    std::string text;
    for (const std::uint8_t byte : bytes) {
      text += "0123456789abcdef"[byte >> 4];
      text += "0123456789abcdef"[byte & 15];
    }
    return text;
  };
  truth.structure_label = hex(pool_.structure_label);
  truth.localization_label = hex(pool_.localization_label);
  truth.extended_label = hex(pool_.extended_label);
  truth.pool_bytes = pool_.bytes.size();
  truth.pool_objects = pool_.objects;
  truth.healthy = spec_.faults.empty();
  truth.area_m2 = drill_.area_m2;
  truth.distance_mm = drill_.distance_mm;
  truth.time_s = drill_.time_s;
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    const MeterSpec& spec = spec_.meters[i];
    const Meter& meter = drill_.meters[i];
    MeterTruth one;
    one.element = numbers_.first_bin + static_cast<unsigned>(i);
    one.designator = spec.designator;
    one.ddis = terms(spec.product);
    one.order = spec.order;
    one.range = spec.maximum;
    one.sample_period_s = to_seconds(spec.sample_period);
    one.steps = measure_steps(meter.changes, meter.trace, 0, end, spec.maximum);
    double sum = 0, count = 0;
    for (const StepTruth& step : one.steps) {
      if (!step.settled || !step.answered) continue;
      sum += (*step.settled - step.to) / spec.maximum * 100;
      ++count;
    }
    if (count > 0) one.settled_error_pct = sum / count;
    one.total = totals_true_[i];
    if (totals_sent_[i] >= 0) one.total_sent = totals_sent_[i];
    for (const FaultSpec& fault : spec_.faults) {
      if (fault.what != Trouble::meter_hunting || fault.meter != i + 1) continue;
      one.hunting_amplitude = (fault.strength == 0 ? 9.0 : fault.strength) / 100 * meter.set_rate();
      one.hunting_period_s = to_seconds(fault.period);
      for (StepTruth& step : one.steps)
        step.dead_time_s = step.rise_time_s = step.overshoot_pct = step.settled = std::nullopt;
      one.settled_error_pct = spec.settled_error_pct;  // the mean over whole swings
    }
    truth.meters.push_back(std::move(one));
  }
  for (std::size_t i = 0; i < spec_.sections.size(); ++i) {
    SectionTruth one;
    one.section = static_cast<unsigned>(i + 1);
    one.element = numbers_.first_section + static_cast<unsigned>(i);
    one.place = spec_.sections[i];
    one.on_delays = drill_.sections[i].on_delays;
    one.off_delays = drill_.sections[i].off_delays;
    one.message_period_s = to_seconds(kQuietStates + kDrillStep);
    for (const FaultSpec& fault : spec_.faults) {
      if (fault.section != i + 1) continue;
      if (fault.what == Trouble::section_stuck_on) one.stuck = "on";
      if (fault.what == Trouble::section_stuck_off) one.stuck = "off";
    }
    truth.sections.push_back(std::move(one));
  }
  for (const FaultSpec& fault : spec_.faults) {
    FaultTruth one;
    one.what = terms(fault.what).what;
    one.code = terms(fault.what).code;
    if (fault.what == Trouble::meter_slow && fault.how == "rise-time") one.code = "meter.rise-time";
    const std::string what = one.what;
    if (what.starts_with("meter-") || what.starts_with("total-") || fault.what == Trouble::bin_empty ||
        fault.what == Trouble::value_refused || fault.what == Trouble::no_answer)
      one.element = numbers_.first_bin + fault.meter - 1;
    if (what.starts_with("section-") || fault.what == Trouble::overlap) one.section = fault.section;
    if (fault.what == Trouble::blower_low || fault.what == Trouble::pressure_low ||
        fault.what == Trouble::value_missing)
      one.element = numbers_.blower;
    if (fault.what == Trouble::implement_off || fault.what == Trouble::width_wrong)
      one.element = numbers_.boom;
    one.start = world_.recorder.stamp(fault.at);
    if (fault.length) one.end = world_.recorder.stamp(fault.at + *fault.length);
    truth.faults.push_back(std::move(one));
  }
  return truth;
}

}  // namespace tramlog::stage
