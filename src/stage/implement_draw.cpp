// A whole drill out of one seed, within the ranges of a healthy machine, and one fault beside them.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "stage/implement_spec.hpp"
#include "stage/random.hpp"

namespace tramlog::stage {
namespace {

double real(Random& random, double low, double high) {
  return low + (high - low) * static_cast<double>(random.between(0, 1'000'000)) / 1e6;
}
SpanNs span(Random& random, double low_s, double high_s) {
  return static_cast<SpanNs>(real(random, low_s, high_s) * 1000) * kMillisecond;
}

MeterSpec draw_meter(Random& random, unsigned number) {
  static constexpr const char* kNames[] = {"Wheat", "Fertiliser", "Rape", "Catch crop"};
  MeterSpec meter;
  meter.designator = kNames[(number + random.below(2)) % 4];
  const std::uint64_t kind = random.below(5);
  meter.product = kind == 3 ? Product::volume : kind == 4 ? Product::count : Product::mass;
  meter.order = random.below(3) == 0 ? 2 : 1;
  if (meter.order == 2) {
    meter.damping = real(random, 0.72, 0.95);
    meter.time_constant = span(random, 0.2, 0.7);
    meter.dead_time = span(random, 0.1, 0.7);
  } else {
    meter.time_constant = span(random, 0.15, 1.1);
    meter.dead_time = span(random, 0.1, 1.05);
  }
  meter.settled_error_pct = real(random, -0.9, 0.9);
  meter.noise_pct = real(random, 0.05, 0.45);
  // mass: 80 to 300 kg/ha; volume: 100 to 300 l/ha; count: 30 to 400 seeds on a square metre.
  const double base = meter.product == Product::mass     ? real(random, 8'000, 25'000)
                      : meter.product == Product::volume ? real(random, 1e6, 2.5e6)
                                                         : real(random, 60'000, 350'000);
  meter.maximum = static_cast<double>(static_cast<std::int64_t>(base * real(random, 1.6, 2.4)));
  meter.minimum = static_cast<double>(static_cast<std::int64_t>(base * 0.1));
  meter.sample_period = random.between(2, 10) * 100 * kMillisecond;
  meter.dense = random.below(3) != 0;
  meter.capacity = meter.product == Product::count ? 40e6 : 1.6e6;
  meter.content = meter.capacity * real(random, 0.4, 0.9);
  meter.rates = {{0, static_cast<double>(static_cast<std::int64_t>(base))}};
  return meter;
}

// Steps up and down by 12 to 35 %, never twice to the same rate.
double next_rate(Random& random, double base, double now) {
  double next = now;
  while (std::abs(next - now) < base * 0.12) next = base * real(random, 0.75, 1.35);
  return static_cast<double>(static_cast<std::int64_t>(next));
}

void draw_course(ImplementSpec& implement, Random& random, SpanNs gap) {
  const double speed = real(random, 2.0, 3.6);
  const auto all = static_cast<double>((std::uint64_t{1} << implement.sections.size()) - 1);
  SpanNs at = implement.task_start + span(random, 2.5, 3.5);
  implement.speed = {{0, 0}, {at - 2 * kSecond, 0}, {at, speed}};
  implement.work = {{0, 0}, {at, 1}};
  at += kSecond;
  implement.section_masks = {{0, 0}, {at, all}};
  const auto rates = [&] {
    for (MeterSpec& meter : implement.meters)
      meter.rates.emplace_back(at + random.between(0, 400) * kMillisecond,
                               next_rate(random, meter.rates.front().second, meter.rates.back().second));
  };
  const auto headland = [&] {
    implement.section_masks.emplace_back(at, 0);
    implement.work.emplace_back(at + 1500 * kMillisecond, 0);
    implement.speed.emplace_back(at + 2 * kSecond, speed);
    implement.speed.emplace_back(at + 4 * kSecond, speed * 0.6);
    implement.speed.emplace_back(at + 7 * kSecond, speed * 0.6);
    implement.speed.emplace_back(at + 9 * kSecond, speed * real(random, 0.95, 1.05));
    implement.work.emplace_back(at + 9 * kSecond, 1);
    implement.section_masks.emplace_back(at + 10 * kSecond, all);
    at += 10 * kSecond;
  };
  at += span(random, 7, 9);
  for (unsigned step = 0; step < 4; ++step) {
    rates();
    at += gap;
    if (step == 1) {
      headland();
      at += span(random, 6, 8);
    }
    if (step == 0 || step == 2) {  // some sections off for a while, well after the step has settled
      const auto width = 1 + random.below(std::max<std::uint64_t>(1, implement.sections.size() / 2));
      const double part =
          static_cast<double>(static_cast<std::uint64_t>(all) & ~((std::uint64_t{1} << width) - 1));
      implement.section_masks.emplace_back(at, part);
      implement.section_masks.emplace_back(at + 4500 * kMillisecond, all);
      at += 8 * kSecond;
    }
  }
  implement.section_masks.emplace_back(at, 0);
  implement.work.emplace_back(at + 1500 * kMillisecond, 0);
  implement.speed.emplace_back(at + 2 * kSecond, implement.speed.back().second);
  implement.speed.emplace_back(at + 4 * kSecond, 0);
  implement.task_end = at + 4 * kSecond;
}

void draw_fault(ImplementSpec& implement, Random& random, Trouble what) {
  FaultSpec fault;
  fault.what = what;
  fault.meter = static_cast<unsigned>(1 + random.below(implement.meters.size()));
  fault.section = static_cast<unsigned>(1 + random.below(implement.sections.size()));
  const SpanNs working = implement.task_start + 12 * kSecond;
  const SpanNs middle = implement.section_masks[1].first + span(random, 9, 12);
  switch (what) {
    case Trouble::meter_slow:
      fault.how = random.below(2) == 0 ? "dead-time" : "rise-time";
      fault.strength = fault.how == "dead-time" ? real(random, 4.2, 6) : real(random, 2.9, 3.6);
      break;
    case Trouble::meter_hunting:
      fault.strength = real(random, 6.5, 14);
      fault.period = span(random, 3, 11);
      break;
    case Trouble::meter_offset:
      fault.strength = real(random, 4.5, 9) * (random.below(2) == 0 ? 1 : -1);
      break;
    case Trouble::meter_overshoot:
      fault.strength = real(random, 0.18, 0.32);
      break;
    case Trouble::meter_dead:
    case Trouble::total_frozen:
      fault.at = middle;
      break;
    case Trouble::total_back:
      fault.at = implement.task_start + 35 * kSecond;
      break;
    case Trouble::meter_flow_stopped:
    case Trouble::meter_no_set_rate:
    case Trouble::implement_off:
    case Trouble::wheel_lost:
    case Trouble::ground_lost:
    case Trouble::selected_lost:
    case Trouble::fix_lost:
    case Trouble::section_error:
    case Trouble::zero_while_working:
      fault.at = middle;
      fault.length = span(random, 7, 9);
      break;
    case Trouble::section_flicker:
    case Trouble::section_overridden:
    case Trouble::sources_differ:
    case Trouble::fix_degraded:
    case Trouble::blower_low:
    case Trouble::pressure_low:
    case Trouble::value_missing:
    case Trouble::bin_empty:
    case Trouble::no_answer:
    case Trouble::echo_missing:
      fault.at = what == Trouble::echo_missing ? 0 : working;
      break;
    case Trouble::tc_lost:
    case Trouble::client_lost:
      fault.at = middle;
      fault.length = span(random, 9, 14);
      break;
    case Trouble::status_late:
      fault.at = working;
      fault.length = 25 * kSecond;
      break;
    default:
      break;
  }
  implement.faults = {fault};
}

}  // namespace

void draw_implement(ImplementSpec& implement, std::uint64_t seed) {
  Random random(seed);
  implement.client_version = 3 + static_cast<unsigned>(random.below(2));
  implement.tc_version = 3 + static_cast<unsigned>(random.below(2));
  implement.pressure = random.below(2) == 0 || implement.draw == ImplementSpec::Draw::any;
  implement.totals_interval = random.below(2) == 0 ? 0 : random.between(2, 8) * kSecond;
  implement.padding_objects = random.below(3) == 0 ? static_cast<unsigned>(random.below(60)) : 0;
  implement.serial = fmt::format("{}", random.between(100'000, 999'999));
  implement.meters.clear();
  const std::uint64_t meters = 1 + random.below(4);
  for (unsigned i = 0; i < meters; ++i) implement.meters.push_back(draw_meter(random, i));
  const auto sections = static_cast<std::size_t>(random.between(4, 24));
  const auto width =
      static_cast<std::int32_t>(random.between(3, 15) * 250 / (sections > 12 ? 3 : 1) / 10 * 10);
  place_sections(implement, sections, width, static_cast<std::int32_t>(-random.between(1500, 5000)),
                 span(random, 0.25, 0.7), span(random, 0.15, 0.5), span(random, 0, 0.25));
  implement.blower_rpm = real(random, 3400, 4200);
  implement.slip_pct = real(random, 0, 3);
  implement.task_start = implement.start_wait + span(random, 5, 7);
  SpanNs gap = span(random, 15, 17);
  std::optional<Trouble> trouble;
  if (implement.draw == ImplementSpec::Draw::any) {
    do {  // a fall-back source is a healthy machine's answer, no fault
      trouble = static_cast<Trouble>(random.below(kDrawnTroubles));
    } while (trouble == Trouble::source_fallback);
  }
  if (trouble == Trouble::meter_slow) gap = 26 * kSecond;
  draw_course(implement, random, gap);
  if (trouble) draw_fault(implement, random, *trouble);
}

}  // namespace tramlog::stage
