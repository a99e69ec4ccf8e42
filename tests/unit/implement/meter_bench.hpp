// A drill's meter by its differential equation, its values as a device sends them, and a watch that looks at
// them.
#pragma once

#include <cmath>
#include <cstdint>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "implement/device.hpp"
#include "implement/watch.hpp"
#include "isobus/message.hpp"

namespace tramlog::watches {
extern const DeviceWatchKind meters;
}

namespace tramlog {

/// One meter, solved on a grid of 5 ms. What it delivers and what the bus says are told apart.
struct MeterModel {
  double dead_s = 0.5;
  double tau_s = 0.6;     // first order; second order: 1 / natural frequency
  double damping = 0;     // 0: first order
  double gain = 1.0;      // delivered / set when settled
  double noise = 0;       // standard deviation, of the set rate
  double hunting = 0;     // amplitude, of the set rate
  double hunting_s = 5;   // period
  double ceiling = 1e12;  // delivers no more
  bool dead = false;      // stays where it is
};
struct Reporting {
  double interval_s = 0.5;  // 0: none
  double change = 0.01;     // of the set rate; 0: none
  double quantum = 1;       // raw
  bool commands = true;     // the measurement commands were seen
};
struct Told {
  double t_s = 0;
  std::int64_t raw = 0;
};

class MeterRun {
 public:
  static constexpr double kStep = 0.005;

  MeterRun(MeterModel model, Reporting sending, unsigned seed = 1)
      : model_(model), sending_(sending), random_(seed) {}
  void set_at(double t_s, double raw) { sets_.push_back({t_s, static_cast<std::int64_t>(raw)}); }
  void work(double from_s, double to_s) { work_.push_back({from_s, to_s}); }
  void model_from(double t_s, MeterModel model) { later_.push_back({t_s, model}); }

  void play(double until_s) {
    double y = 0, v = 0, input = 0, sent = 0, sent_at = -1e9, due = 0.05;
    bool first = true, worked = false;
    std::normal_distribution<double> normal;
    for (double t = 0; t < until_s; t += kStep) {
      for (const auto& [from, model] : later_)
        if (t >= from) model_ = model;
      const double set = set_in_force(t), wanted = set_in_force(t - model_.dead_s);
      const bool works = working(t);
      if (!model_.dead) input = std::min(wanted * model_.gain, model_.ceiling);
      if (works && !worked) y = 0, v = 0;
      worked = works;
      if (model_.damping > 0) {
        const double w = 1 / model_.tau_s;
        v += kStep * (w * w * (input - y) - 2 * model_.damping * w * v);
        y += kStep * v;
      } else {
        y += kStep * (input - y) / model_.tau_s;
      }
      const double swing = model_.hunting * set * std::sin(2 * M_PI * t / model_.hunting_s);
      const double delivered = works ? y + swing : 0;
      clean.push_back(delivered);
      double value = works ? delivered + model_.noise * set * normal(random_) : 0;
      value = std::max(0.0, std::round(value / sending_.quantum) * sending_.quantum);
      const bool by_time = sending_.interval_s > 0 && t >= due;
      const bool by_change = sending_.change > 0 && t - sent_at >= 0.1 &&
                             std::abs(value - sent) >= std::max(1.0, sending_.change * set);
      if (!first && !by_time && !by_change) continue;
      first = false;
      sent = value;
      sent_at = t;
      due = t + sending_.interval_s;
      told.push_back({t, static_cast<std::int64_t>(value)});
    }
  }
  double set_in_force(double t_s) const {
    double set = 0;
    for (const Told& one : sets_)
      if (t_s >= one.t_s) set = static_cast<double>(one.raw);
    return set;
  }
  bool working(double t_s) const {
    for (const auto& [from, to] : work_)
      if (t_s >= from && t_s < to) return true;
    return false;
  }

  /// By the definitions, on the grid: of the change at `from_s`, settled before `to_s`.
  struct Truth {
    double dead_s = 0, rise_s = 0, overshoot_pct = 0, settled = 0;
  };
  Truth truth(double from_s, double to_s) const {
    const auto begin = static_cast<std::size_t>(from_s / kStep), end = static_cast<std::size_t>(to_s / kStep);
    Truth result;
    const double before = clean[begin - 1];
    result.settled = clean[end - 1];
    const double change = result.settled - before;
    double t5 = -1, t10 = -1, t90 = -1, peak = 0;
    for (std::size_t i = begin; i < end; ++i) {
      const double share = (clean[i] - before) / change;
      const double t = static_cast<double>(i) * kStep - from_s;
      if (t5 < 0 && share >= 0.05) t5 = t;
      if (t10 < 0 && share >= 0.10) t10 = t;
      if (t90 < 0 && share >= 0.90) t90 = t;
      peak = std::max(peak, share);
    }
    result.dead_s = t5;
    result.rise_s = t90 - t10;
    result.overshoot_pct = std::max(0.0, 100 * (peak - 1));
    return result;
  }

  std::vector<double> clean;  // delivered, each kStep
  std::vector<Told> told;     // on the bus
  const std::vector<Told>& sets() const { return sets_; }
  const std::vector<std::pair<double, double>>& work_times() const { return work_; }
  const Reporting& sending() const { return sending_; }

 private:
  MeterModel model_;
  Reporting sending_;
  std::mt19937 random_;
  std::vector<Told> sets_;
  std::vector<std::pair<double, double>> work_;
  std::vector<std::pair<double, MeterModel>> later_;
};

/// A device with a description made by hand, and the watch that looks at it.
class MeterBench {
 public:
  static constexpr TimeNs kStart = 1'775'542'320 * kSecond;
  static constexpr std::uint16_t kBoom = 1, kBin = 4, kSet = 6, kActual = 7, kMaximum = 10;

  MeterBench() : device_(Schema::built_in(), SeedingLimits::built_in(), machine_) {
    device_.bus = 0;
    describe();
    watch_ = watches::meters.make(device_);
    watch_->on_pool();
  }
  DevicePool& pool() { return device_.pool; }
  Device& device() { return device_; }
  DeviceWatch& watch() { return *watch_; }

  void value(double t_s, std::uint16_t element, std::uint16_t ddi, std::int64_t raw, bool by_device = true) {
    advance(t_s);
    ProcessValue one;
    one.variable = {element, ddi};
    one.raw = raw;
    one.at = mark(t_s);
    one.by_device = by_device;
    device_.values.take(one);
    watch_->on_value(one);
  }
  /// Machine selected speed.
  void speed(double t_s, double mm_s) {
    advance(t_s);
    const auto raw = static_cast<unsigned>(mm_s);
    const std::vector<std::uint8_t> payload{static_cast<std::uint8_t>(raw & 0xFF),
                                            static_cast<std::uint8_t>(raw >> 8),
                                            0xFF,
                                            0xFF,
                                            0xFF,
                                            0xFF,
                                            0xFF,
                                            0xFD};
    Message message = speed_message(payload, kStart + static_cast<SpanNs>(t_s * 1e9), ++frame_);
    machine_.take(message);
    watch_->on_speed(mark(t_s));
  }
  void task(double t_s, bool active) {
    advance(t_s);
    device_.task_active = active;
    device_.task_told = active;
    watch_->on_task(active, mark(t_s));
  }
  Mark mark(double t_s) { return {kStart + static_cast<SpanNs>(t_s * 1e9), ++frame_}; }
  void measure(std::uint16_t element, std::uint16_t ddi, double interval_s, std::uint32_t change) {
    ValueEntry* entry = device_.values.entry({element, ddi});
    if (interval_s > 0)
      entry->measurements[0] = Measurement{static_cast<std::uint32_t>(interval_s * 1000), {}, false};
    if (change > 0) entry->measurements[4] = Measurement{change, {}, false};
  }

  /// All that a run says, in time order, with the boom's work state and the speed every 100 ms.
  void play(const MeterRun& run, double until_s, double mm_s = 2500, std::uint16_t element = kBin) {
    const Reporting& sending = run.sending();
    if (sending.commands)
      measure(element, kActual, sending.interval_s,
              sending.change > 0 ? static_cast<std::uint32_t>(std::max(1.0, sending.change * 15000)) : 0);
    std::size_t told = 0, set = 0;
    bool worked = false;
    value(0, kBoom, 141, 0);
    for (double t = 0.001; t < until_s; t += MeterRun::kStep) {
      if (static_cast<long>(t / MeterRun::kStep) % 20 == 0) speed(t, mm_s);
      if (run.working(t) != worked) value(t, kBoom, 141, (worked = !worked) ? 1 : 0);
      for (; set < run.sets().size() && run.sets()[set].t_s <= t; ++set)
        value(t, element, kSet, run.sets()[set].raw, false);
      for (; told < run.told.size() && run.told[told].t_s <= t; ++told)
        value(t, element, kActual, run.told[told].raw);
    }
    end_s_ = until_s;
  }
  ImplementRecord conclude() {
    ImplementRecord record;
    watch_->conclude(kStart + static_cast<SpanNs>(end_s_ * 1e9), record);
    return record;
  }
  void end(double t_s) { end_s_ = t_s; }

 private:
  static Message speed_message(const std::vector<std::uint8_t>& payload, TimeNs at, std::uint64_t frame) {
    Message message;
    message.pgn = 0xF022;
    message.start = message.end = at;
    message.first_frame = message.last_frame = frame;
    message.data = payload;
    return message;
  }
  void advance(double t_s) {
    const TimeNs to = kStart + static_cast<SpanNs>(t_s * 1e9);
    while (device_.now + 100 * kMillisecond < to) {
      device_.now = device_.now == 0 ? to : device_.now + 100 * kMillisecond;
      watch_->on_time(device_.now);
    }
    device_.now = std::max(device_.now, to);
  }
  void describe() {
    const auto element = [&](std::uint16_t id, ElementType type, const char* name, std::uint16_t number,
                             std::uint16_t parent, std::vector<std::uint16_t> references) {
      ElementObject one;
      one.id = id;
      one.type = static_cast<std::uint8_t>(type);
      one.designator = name;
      one.number = number;
      one.parent = parent;
      one.references = std::move(references);
      device_.pool.elements.push_back(std::move(one));
    };
    element(1, ElementType::device, "drill", 0, 0, {});
    element(2, ElementType::function, "boom", kBoom, 1, {});
    element(3, ElementType::bin, "seed", kBin, 2, {20, 21, 22});
    for (const auto& [id, ddi] : {std::pair<std::uint16_t, std::uint16_t>{20, kSet}, {21, kActual}}) {
      VariableObject variable;
      variable.id = id;
      variable.ddi = ddi;
      variable.properties = 2;
      device_.pool.variables.push_back(variable);
    }
    PropertyObject maximum;
    maximum.id = 22;
    maximum.ddi = kMaximum;
    maximum.value = 30000;
    device_.pool.properties.push_back(maximum);
  }

  MachineState machine_;
  Device device_;
  std::unique_ptr<DeviceWatch> watch_;
  std::uint64_t frame_ = 0;
  double end_s_ = 0;
};

inline const CheckLine* line_of(const ImplementRecord& record, const std::string& code,
                                std::uint16_t element = MeterBench::kBin) {
  for (const CheckLine& line : record.lines)
    if (line.code == code && line.element == element) return &line;
  return nullptr;
}

}  // namespace tramlog
