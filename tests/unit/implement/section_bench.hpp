// A boom whose sections follow their commands after a delay, its messages as a device sends them, and the
// watches that look at it.
#pragma once

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "implement/device.hpp"
#include "implement/watch.hpp"
#include "isobus/message.hpp"

namespace tramlog::watches {
extern const DeviceWatchKind sections;
extern const DeviceWatchKind work_state;
extern const DeviceWatchKind geometry;
}  // namespace tramlog::watches

namespace tramlog {

/// A device with a description made by hand, and one watch.
class SectionBench {
 public:
  static constexpr TimeNs kStart = 1'775'542'320 * kSecond;
  static constexpr std::uint16_t kBoom = 1, kFirst = 10;  // element numbers; sections from kFirst on

  explicit SectionBench(const DeviceWatchKind& kind)
      : device_(Schema::built_in(), SeedingLimits::built_in(), machine_), watch_(kind.make(device_)) {
    device_.now = kStart;
  }
  Device& device() { return device_; }
  DeviceWatch& watch() { return *watch_; }

  /// Device, boom and `count` sections of this width side by side, section 1 at the left. `condensed`: the
  /// boom lists 161 and 290.
  void describe(unsigned count, std::int32_t width_mm = 1500, bool condensed = true) {
    add_element(1, ElementType::device, "drill", 0, 0);
    add_element(2, ElementType::function, "boom", kBoom, 1);
    if (condensed)
      for (const int ddi : {160, 161, 162, 290, 291}) add_variable(2, static_cast<std::uint16_t>(ddi));
    add_property(2, 70, static_cast<std::int32_t>(count) * width_mm);
    for (unsigned i = 0; i < count; ++i) {
      const auto id = static_cast<std::uint16_t>(100 + i);
      add_element(id, ElementType::section, "", static_cast<std::uint16_t>(kFirst + i), 2);
      add_property(id, 134, -1200);
      add_property(id, 135,
                   (2 * static_cast<std::int32_t>(i) + 1 - static_cast<std::int32_t>(count)) * width_mm / 2);
      add_property(id, 67, width_mm);
      if (!condensed)
        for (const int ddi : {141, 289}) add_variable(id, static_cast<std::uint16_t>(ddi));
    }
    described();
  }
  void add_element(std::uint16_t id, ElementType type, const char* name, std::uint16_t number,
                   std::uint16_t parent) {
    ElementObject one;
    one.id = id;
    one.type = static_cast<std::uint8_t>(type);
    one.designator = name;
    one.number = number;
    one.parent = parent;
    device_.pool.elements.push_back(std::move(one));
  }
  void add_variable(std::uint16_t element_id, std::uint16_t ddi) {
    VariableObject one;
    one.id = next_id_++;
    one.ddi = ddi;
    one.properties = 2;
    device_.pool.variables.push_back(one);
    list(element_id, one.id);
  }
  void add_property(std::uint16_t element_id, std::uint16_t ddi, std::int32_t value) {
    PropertyObject one;
    one.id = next_id_++;
    one.ddi = ddi;
    one.value = value;
    device_.pool.properties.push_back(one);
    list(element_id, one.id);
  }
  PropertyObject& property(std::uint16_t number, std::uint16_t ddi) {
    const PropertyObject* found = device_.pool.property({number, ddi});
    return device_.pool.properties[static_cast<std::size_t>(found - device_.pool.properties.data())];
  }
  void described() {
    device_.pool.index_objects();
    watch_->on_pool();
  }

  void told(double t_s, std::uint16_t element, std::uint16_t ddi, std::int64_t raw) {
    value(t_s, element, ddi, raw, true);
  }
  void set(double t_s, std::uint16_t element, std::uint16_t ddi, std::int64_t raw) {
    value(t_s, element, ddi, raw, false);
  }
  void measure(std::uint16_t element, std::uint16_t ddi) {
    device_.values.entry({element, ddi})->measurements[4] = Measurement{1, {}, false};
  }
  /// Machine selected speed.
  void speed(double t_s, unsigned mm_s) {
    advance(t_s);
    const std::vector<std::uint8_t> payload{static_cast<std::uint8_t>(mm_s & 0xFF),
                                            static_cast<std::uint8_t>(mm_s >> 8),
                                            0xFF,
                                            0xFF,
                                            0xFF,
                                            0xFF,
                                            0xFF,
                                            0xFD};
    Message message;
    message.pgn = 0xF022;
    message.start = message.end = time(t_s);
    message.first_frame = message.last_frame = ++frame_;
    message.data = payload;
    machine_.take(message);
    watch_->on_speed({time(t_s), frame_});
  }
  void task(double t_s, bool active) {
    advance(t_s);
    device_.task_active = active;
    device_.task_told = active;
    watch_->on_task(active, mark(t_s));
  }
  void blind(double t_s) {
    advance(t_s);
    watch_->on_blind();
  }
  void restart(double t_s) {
    advance(t_s);
    watch_->on_break(mark(t_s));
  }
  ImplementRecord conclude(double t_s) {
    advance(t_s);
    ImplementRecord record;
    watch_->conclude(time(t_s), record);
    return record;
  }
  static TimeNs time(double t_s) { return kStart + std::llround(t_s * 1e9); }

 private:
  Mark mark(double t_s) { return {time(t_s), ++frame_}; }
  void list(std::uint16_t element_id, std::uint16_t id) {
    for (ElementObject& element : device_.pool.elements)
      if (element.id == element_id) element.references.push_back(id);
  }
  void value(double t_s, std::uint16_t element, std::uint16_t ddi, std::int64_t raw, bool by_device) {
    advance(t_s);
    ProcessValue one;
    one.variable = {element, ddi};
    one.raw = raw;
    one.at = mark(t_s);
    one.by_device = by_device;
    device_.values.take(one);
    watch_->on_value(one);
  }
  void advance(double t_s) {
    const TimeNs to = time(t_s);
    while (device_.now + 100 * kMillisecond <= to) {
      device_.now += 100 * kMillisecond;
      watch_->on_time(device_.now);
    }
    device_.now = std::max(device_.now, to);
  }

  MachineState machine_;
  Device device_;
  std::unique_ptr<DeviceWatch> watch_;
  std::uint64_t frame_ = 0;
  std::uint16_t next_id_ = 1000;
};

/// The raw value of one condensed block; sections beyond `states` are not installed.
inline std::int64_t condensed(const std::vector<unsigned>& states, unsigned block = 0) {
  std::int64_t raw = 0;
  for (unsigned i = 0; i < 16; ++i) {
    const std::size_t section = block * 16 + i;
    raw |= static_cast<std::int64_t>(section < states.size() ? states[section] : 3u) << (2 * i);
  }
  return raw;
}

/// A drill that works in passes, simulated on a grid of 5 ms.
struct BoomModel {
  static constexpr double kStep = 0.005;
  unsigned sections = 8;
  std::vector<double> on_s, off_s;  // delays of each section
  double jitter_s = 0.04;           // of each answer, either way
  bool master_is_derived = false;   // the boom's 141 says only whether any section is on
  bool instant_when_lifted = true;  // lifting puts all sections off at once
  double spacing_s = 0.2;           // between two messages on change
  double interval_s = 2;            // of the message by time; sampled: no messages on change
  bool sampled = false;
  bool control = true;  // DDI 160 is told
  unsigned passes = 4;
  unsigned speed_mm_s = 2500;
  bool by_elements = false;   // 141 and 289 of the sections instead of condensed ones
  bool far_steering = false;  // the operator lowers late, long after the commands
  /// State told of a section in place of what it does; none: what it does.
  std::function<std::optional<unsigned>(unsigned section, double t)> instead;
};

struct BoomTruth {
  std::vector<std::vector<double>> on, off;  // delays of commands that nothing else disturbed
  double end_s = 0;
};

/// Plays the model into the bench.
inline BoomTruth play(SectionBench& bench, BoomModel model, unsigned seed) {
  std::mt19937 random(seed);
  const auto draw = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  const unsigned n = model.sections;
  struct Order {
    double t;
    unsigned section;
    bool on;
  };
  std::vector<Order> orders;
  std::vector<std::pair<double, bool>> lowered;
  double t = 12;
  for (unsigned pass = 0; pass < model.passes; ++pass) {
    lowered.push_back({t + (model.far_steering ? draw(2, 4) : draw(-0.5, 0.8)), true});
    const bool angled = pass % 2 == 1;
    for (unsigned i = 0; i < n; ++i) orders.push_back({t + (angled ? 0.4 * i : 0), i, true});
    // In the middle of the pass a corner: some sections off and on again, one of them too short to be
    // followed.
    const double middle = t + 0.4 * n + 6;
    for (unsigned i = 0; i < n; i += 2) {
      orders.push_back({middle + 0.3 * i, i, false});
      orders.push_back({middle + 4 + 0.3 * i, i, true});
    }
    orders.push_back({middle + 12, 1 % n, false});
    orders.push_back({middle + 12.06, 1 % n, true});
    const double end = middle + 20;
    for (unsigned i = 0; i < n; ++i) orders.push_back({end + (angled ? 0.3 * i : 0), i, false});
    const double up = end + 0.3 * n + draw(-0.5, 2);
    lowered.push_back({up, false});
    t = up + draw(6, 9);
  }
  std::sort(orders.begin(), orders.end(), [](const Order& a, const Order& b) { return a.t < b.t; });
  BoomTruth truth;
  truth.on.resize(n);
  truth.off.resize(n);
  truth.end_s = t;

  std::vector<unsigned> wanted(n, 0), real(n, 0), sent;
  std::vector<double> changed(n, -1), delay(n, 0);
  std::vector<bool> clean(n, false);
  bool down = false, told_down = false;
  double sent_at = -10, work_sent_at = -10;
  std::size_t next_order = 0, next_lower = 0;
  if (model.control) bench.told(0.3, SectionBench::kBoom, 160, 0);
  bench.told(0.4, SectionBench::kBoom, 141, 0);
  bench.measure(SectionBench::kBoom, 141);
  bench.measure(SectionBench::kBoom, 161);
  bench.task(2, true);
  if (model.control) {
    bench.set(3, SectionBench::kBoom, 160, 1);
    bench.told(3.1, SectionBench::kBoom, 160, 1);
  }
  for (int step = 0; step * BoomModel::kStep < truth.end_s - 3.5; ++step) {
    const double now = 3.5 + step * BoomModel::kStep;
    if (step % 20 == 0) bench.speed(now, model.speed_mm_s);
    bool ordered = false;
    for (; next_order < orders.size() && orders[next_order].t <= now; ++next_order) {
      const Order& one = orders[next_order];
      if (wanted[one.section] == (one.on ? 1u : 0u)) continue;
      clean[one.section] = real[one.section] == wanted[one.section];
      wanted[one.section] = one.on;
      changed[one.section] = now;
      delay[one.section] = std::max(
          0.0, (one.on ? model.on_s : model.off_s)[one.section] + draw(-model.jitter_s, model.jitter_s));
      if (model.by_elements)
        bench.set(now, static_cast<std::uint16_t>(SectionBench::kFirst + one.section), 289, one.on);
      ordered = true;
    }
    if (ordered && !model.by_elements)
      for (unsigned block = 0; block * 16 < n; ++block)
        bench.set(now, SectionBench::kBoom, static_cast<std::uint16_t>(290 + block),
                  condensed(wanted, block));
    if (next_lower < lowered.size() && lowered[next_lower].first <= now) {
      down = lowered[next_lower++].second;
      if (!model.master_is_derived)
        for (unsigned i = 0; i < n; ++i) {
          clean[i] = clean[i] && real[i] == wanted[i];
          if (!down && model.instant_when_lifted) real[i] = 0;
        }
    }
    for (unsigned i = 0; i < n; ++i) {
      const unsigned target = model.master_is_derived || down ? wanted[i] : 0;
      if (real[i] != target && now - changed[i] >= delay[i]) {
        real[i] = target;
        if (clean[i] && target == wanted[i])
          (target == 1 ? truth.on : truth.off)[i].push_back(now - changed[i]);
        clean[i] = false;
      }
    }
    std::vector<unsigned> says = real;
    for (unsigned i = 0; i < n; ++i)
      if (model.instead) says[i] = model.instead(i, now).value_or(real[i]);
    const bool any = std::find(says.begin(), says.end(), 1u) != says.end();
    const bool work = model.master_is_derived ? any : down;
    if (work != told_down && now - work_sent_at >= 0.1) {
      bench.told(now, SectionBench::kBoom, 141, work);
      told_down = work;
      work_sent_at = now;
    }
    const bool due = now - sent_at >= model.interval_s;
    const bool change = !model.sampled && says != sent && now - sent_at >= model.spacing_s;
    if (!due && !change) continue;
    if (model.by_elements) {
      for (unsigned i = 0; i < n; ++i)
        if (sent.empty() || model.sampled || sent[i] != says[i])
          bench.told(now, static_cast<std::uint16_t>(SectionBench::kFirst + i), 141, says[i]);
    } else {
      for (unsigned block = 0; block * 16 < n; ++block)
        bench.told(now, SectionBench::kBoom, static_cast<std::uint16_t>(161 + block), condensed(says, block));
    }
    sent = says;
    sent_at = now;
  }
  return truth;
}

inline std::vector<const CheckLine*> lines_of(const ImplementRecord& record, const std::string& code) {
  std::vector<const CheckLine*> found;
  for (const CheckLine& line : record.lines)
    if (line.code == code) found.push_back(&line);
  return found;
}
/// A copy; empty if there is none, or more than one.
inline CheckLine only_line(const ImplementRecord& record, const std::string& code) {
  const auto found = lines_of(record, code);
  return found.size() == 1 ? *found.front() : CheckLine{};
}
inline std::string attentions(const ImplementRecord& record) {
  std::string text;
  for (const CheckLine& line : record.lines)
    if (line.verdict == Verdict::attention) text += line.code + " " + line.subject + ": " + line.text + "\n";
  return text;
}

}  // namespace tramlog
