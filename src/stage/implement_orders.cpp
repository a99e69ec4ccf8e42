// The task controller's work with a connected client: requests, measurement commands, set values (fact sheet,
// process data, 1.3 to 1.5, 5.3, 5.8), and how the client answers.
#include <algorithm>
#include <cmath>

#include "stage/implement.hpp"
#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

constexpr SpanNs kOrderTimeout = kSecond, kOrderGap = 12 * kMillisecond, kTotalsEvery = 10 * kSecond;
constexpr unsigned kValuePriority = 3, kAcknowledgePriority = 4, kCommandPriority = 5;
constexpr std::int64_t kStateFallback = 2000;  // ms
constexpr unsigned kSetWorkState = 289, kSectionControl = 160, kActualStates = 161, kSetStates = 290,
                   kOverridden = 367, kUndeclared = 417;

}  // namespace

unsigned Implement::priority_of(unsigned command) const {
  return command == kSetAndAcknowledge || command == kValue ? kValuePriority : kCommandPriority;
}

void Implement::order(unsigned command, unsigned element, unsigned ddi, std::int64_t value) {
  orders_.push_back({command, element, ddi, value});
  if (!order_open_) pump();
}

void Implement::pump() {
  if (orders_.empty() || !connected_) {
    order_open_ = false;
    return;
  }
  order_open_ = true;
  const Order next = orders_.front();
  orders_.pop_front();
  const std::uint64_t serial = ++order_serial_;
  const TimeNs now = world_.now();
  controller_.send_message(spec_.v4() ? priority_of(next.command) : kValuePriority, 0xCB00, client_.address(),
                           process_bytes(next.command, next.element, next.ddi, next.value),
                           [this, next, life = life_](const Sent& sent) {
                             if (sent.sent && life == life_ && connected_ && client_.hears())
                               take_order(next, sent.stamp);
                           });
  world_.agenda.call_at(now + kOrderTimeout, [this, serial, life = life_] {
    if (life == life_) pump_next(serial);
  });
}

void Implement::pump_next(std::uint64_t serial) {
  if (serial != order_serial_ || !order_open_) return;
  ++order_serial_;  // a late time-out must not pump again
  world_.agenda.call_at(world_.now() + kOrderGap, [this, life = life_] {
    if (life == life_) pump();
  });
}

void Implement::acknowledge(const Order& order, unsigned errors, Then heard) {
  from_client(kAcknowledgePriority,
              acknowledge_bytes(order.command, order.element, order.ddi, errors, spec_.v4()),
              std::move(heard));
}

void Implement::take_order(const Order& order, TimeNs stamp) {
  const std::uint64_t serial = order_serial_;
  if (order.command == kValue || order.command == kSetAndAcknowledge) {
    take_set_value(order, stamp);
    return;
  }
  Variable* variable = find(order.element, order.ddi);
  if (variable == nullptr) {
    return answer_later(
        [this, order, serial] { acknowledge(order, 0x04, [this, serial] { pump_next(serial); }); });
  }
  if (order.command == kRequestValue) {
    if (const FaultSpec* silent = drill_.fault(Trouble::no_answer, world_.now());
        silent != nullptr && order.element == numbers_.first_bin + silent->meter - 1 && order.ddi == 467)
      return;
    return answer_later([this, variable, serial] {
      tell(*variable);
      pump_next(serial);
    });
  }
  const TimeNs now = world_.now();
  variable->last_at = now;
  variable->last = variable->value();
  variable->last_odometer = drill_.odometer_mm;
  if (order.command == kTimeInterval) variable->interval = order.value * kMillisecond;
  if (order.command == kDistanceInterval) variable->distance_mm = order.value;
  if (order.command == kChangeThreshold) variable->threshold = order.value;
  answer_later([this, order, variable, serial] {
    if (!spec_.v4()) return pump_next(serial);
    acknowledge(order, 0, [this, serial] { pump_next(serial); });
    variable->due_now = true;  // 1.4: version 4 tells the value once straight away
  });
}

void Implement::take_set_value(const Order& order, TimeNs stamp) {
  const std::uint64_t serial = order_serial_;
  unsigned errors = 0;
  const TimeNs now = world_.now();
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    if (order.element != numbers_.first_bin + i || order.ddi != terms(spec_.meters[i].product).set_ddi)
      continue;
    const FaultSpec* refuses = drill_.fault(Trouble::value_refused, now);
    if (refuses != nullptr && refuses->meter == i + 1) {
      errors = refuses->errors;
    } else {
      drill_.set_rate(i, static_cast<double>(order.value), now, stamp);
    }
  }
  if (order.element == numbers_.boom) {
    if (order.ddi == kSectionControl) automatic_ = order.value == 1;
    if (order.ddi >= kSetStates && order.ddi < kSetStates + 16) {
      const std::size_t first = (order.ddi - kSetStates) * 16;
      for (std::size_t k = 0; k < 16 && first + k < drill_.sections.size(); ++k) {
        const auto state = static_cast<std::uint64_t>(order.value) >> (2 * k) & 3;
        if (state < 2) drill_.command_section(first + k, state == 1, now);
      }
    }
  }
  const bool asked = order.command == kSetAndAcknowledge;
  answer_later([this, order, errors, asked, serial] {
    if (errors != 0 || asked) acknowledge(order, errors);
    pump_next(serial);
  });
}

void Implement::request_all() {
  if (drill_.fault(Trouble::undeclared, world_.now()) != nullptr)
    order(kRequestValue, numbers_.boom, kUndeclared, 0xFFFFFFFF);
  for (const unsigned ddi : {70U, 67U}) order(kRequestValue, numbers_.boom, ddi, 0xFFFFFFFF);
  for (const unsigned ddi : {116U, 117U, 119U}) order(kRequestValue, numbers_.device, ddi, 0xFFFFFFFF);
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    const unsigned bin = numbers_.first_bin + static_cast<unsigned>(i);
    order(kRequestValue, bin, terms(spec_.meters[i].product).content_ddi, 0xFFFFFFFF);
    order(kRequestValue, bin, 467, 0xFFFFFFFF);
  }
  if (task_) return;
  order(kChangeThreshold, numbers_.device, 141, 1);
  order(kChangeThreshold, numbers_.boom, 141, 1);
}

void Implement::start_task() {
  task_ = true;
  status();
  world_.agenda.call_at(world_.now() + 300 * kMillisecond, [this] {
    if (task_ && connected_) set_up_measurements();
  });
}

void Implement::set_up_measurements() {
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) set_rate(i, set_rates_[i]);
  order(kChangeThreshold, numbers_.device, 141, 1);
  order(kChangeThreshold, numbers_.boom, 141, 1);
  order(kChangeThreshold, numbers_.boom, kSectionControl, 1);
  order(kChangeThreshold, numbers_.boom, 67, 1);
  for (unsigned k = 0; k * 16 < spec_.sections.size(); ++k) {
    order(kChangeThreshold, numbers_.boom, kActualStates + k, 1);
    order(kTimeInterval, numbers_.boom, kActualStates + k, kStateFallback);
    order(kChangeThreshold, numbers_.boom, kOverridden + k, 1);
  }
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    const MeterSpec& meter = spec_.meters[i];
    const ProductTerms& ddis = terms(meter.product);
    const unsigned bin = numbers_.first_bin + static_cast<unsigned>(i);
    order(kTimeInterval, bin, ddis.actual_ddi, meter.sample_period / kMillisecond);
    if (meter.dense)
      order(kChangeThreshold, bin, ddis.actual_ddi,
            std::max<std::int64_t>(1, std::llround(set_rates_[i] * 0.01)));
    order(kTimeInterval, bin, ddis.content_ddi, 5000);
    // A request that is never answered must not seem to be answered by a measurement.
    const bool unanswered = std::any_of(
        spec_.faults.begin(), spec_.faults.end(),
        [&](const FaultSpec& fault) { return fault.what == Trouble::no_answer && fault.meter == i + 1; });
    if (!unanswered) order(kTimeInterval, bin, 467, 5000);
    if (spec_.totals_interval > 0)
      order(kTimeInterval, bin, ddis.total_ddi, spec_.totals_interval / kMillisecond);
  }
  order(kTimeInterval, numbers_.blower, 390, 1000);
  if (spec_.pressure) order(kTimeInterval, numbers_.blower, 194, 1000);
  order(kChangeThreshold, numbers_.device, 400, 1);
  order(kTimeInterval, numbers_.device, 397, 1000);
  if (spec_.totals_interval > 0) {
    for (const unsigned ddi : {116U, 117U, 119U})
      order(kTimeInterval, numbers_.device, ddi, spec_.totals_interval / kMillisecond);
  }
  order(set_command(), numbers_.boom, kSetWorkState, 1);
  truth_.work.push_back({world_.recorder.stamp(world_.now()), "task controller", numbers_.boom, true});
  order(set_command(), numbers_.boom, kSectionControl, 1);
  command_sections(section_mask_);
}

void Implement::set_rate(std::size_t meter, double raw) {
  set_rates_[meter] = raw;
  if (!task_ || !connected_) return;
  const Order one{set_command(), numbers_.first_bin + static_cast<unsigned>(meter),
                  terms(spec_.meters[meter].product).set_ddi, std::llround(raw)};
  orders_.push_front(one);  // before requests that wait
  if (!order_open_) pump();
}

void Implement::command_sections(std::uint32_t mask) {
  section_mask_ = mask;
  if (!task_ || !connected_) return;
  for (unsigned k = 0; k * 16 < spec_.sections.size(); ++k) {
    std::uint32_t word = 0;
    for (unsigned i = 0; i < 16; ++i) {
      const unsigned section = k * 16 + i;
      const std::uint32_t state = section < spec_.sections.size() ? (mask >> section & 1) : 3;
      word |= state << (2 * i);
    }
    orders_.push_back({set_command(), numbers_.boom, kSetStates + k, word});
  }
  if (!order_open_) pump();
}

void Implement::request_totals() {
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    order(kRequestValue, numbers_.first_bin + static_cast<unsigned>(i),
          terms(spec_.meters[i].product).total_ddi, 0xFFFFFFFF);
  }
  for (const unsigned ddi : {116U, 117U, 119U}) order(kRequestValue, numbers_.device, ddi, 0xFFFFFFFF);
}

void Implement::round_of_requests() {
  if (task_ && connected_) {
    request_totals();
    if (const FaultSpec* silent = drill_.fault(Trouble::no_answer, world_.now()))
      order(kRequestValue, numbers_.first_bin + silent->meter - 1, 467, 0xFFFFFFFF);
  }
  if (world_.now() + kTotalsEvery < spec_.task_end) {
    world_.agenda.call_at(world_.now() + kTotalsEvery, [this] { round_of_requests(); });
  }
}

void Implement::stop_task() {
  if (connected_) {
    request_totals();
    command_sections(0);
  }
  world_.agenda.call_at(world_.now() + 1500 * kMillisecond, [this] {
    task_ = false;
    status();
  });
}

}  // namespace tramlog::stage
