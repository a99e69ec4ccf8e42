// What looks at one implement, or at the machine: one file in implement/watches/ or implement/machine/, named like its object. The build lists the
// folder (recipe in DEVELOPERS.md).
#pragma once

#include <memory>
#include <vector>

#include "implement/device.hpp"

namespace tramlog {

/// Sees one device. Calls come in time order, after `device` was brought up to date (device.now is the event's time). Keep only what is bounded.
class DeviceWatch {
 public:
  virtual ~DeviceWatch() = default;
  /// Any value told by the device or set by the task controller.
  virtual void on_value(const ProcessValue&) {}
  /// The description became known, or was changed.
  virtual void on_pool() {}
  /// The task controller's task bit changed.
  virtual void on_task(bool /*active*/, Mark) {}
  /// A speed message arrived on the device's bus.
  virtual void on_speed(Mark) {}
  /// The recorder lost frames of this bus, or its clock stepped: nothing may be measured across it.
  virtual void on_blind() {}
  /// The device or its task controller was lost or started again: what is under way ends without a verdict.
  virtual void on_break(Mark) {}
  /// Time passed (about every 100 ms of capture time) without any of the above.
  virtual void on_time(TimeNs /*now*/) {}
  /// The recording ends at `end`: appends pairs, sections, totals, lines. Called once; may be called on a copy of the state later, so it should not
  /// change what on_... calls use.
  virtual void conclude(TimeNs end, ImplementRecord& out) = 0;
};
struct DeviceWatchKind {
  const char* topic;
  std::unique_ptr<DeviceWatch> (*make)(const Device& device);
};

/// What a machine watch may ask.
struct MachineContext {
  const Schema& schema;
  const SeedingLimits& limits;
  const MachineState& machine;
  BusIndex bus = 0;
  /// Any implement of this bus works (sections or work state on), whatever the speed; none: nobody tells.
  std::optional<bool> (*work_on)(const void* self) = nullptr;
  const void* self = nullptr;
  std::optional<bool> any_work_on() const { return work_on ? work_on(self) : std::nullopt; }
};
/// Sees the whole messages of one bus: those that MachineState wants, process data of anybody, and what its own wants() adds.
class MachineWatch {
 public:
  virtual ~MachineWatch() = default;
  virtual void on_message(const Message&) {}
  virtual void on_time(TimeNs /*now*/) {}
  virtual void on_blind() {}
  virtual void conclude(TimeNs end, std::vector<CheckLine>& lines) = 0;
};
struct MachineWatchKind {
  const char* topic;
  bool (*wants)(Pgn pgn);
  std::unique_ptr<MachineWatch> (*make)(const MachineContext& context);
};

}  // namespace tramlog
