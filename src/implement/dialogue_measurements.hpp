// The measurement commands of one task controller that are in force at one client, and whether their values
// come (ISO 11783-10; fact sheet, process data, 1.4 and 5.8).
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "implement/device.hpp"

namespace tramlog {

class MeasurementSetups {
 public:
  static constexpr std::size_t kMax = 1024;  // variables; beyond it a command is not watched

  /// The device's table of values is kept right with it: another connection's commands stay untouched.
  explicit MeasurementSetups(Device& device) : device_(device) {}

  void take(const ProcessMessage& command, Mark at);
  void acknowledged(ProcessVariable variable, ProcessCommand command);
  void refused(ProcessVariable variable, ProcessCommand command);
  void on_value(ProcessVariable variable, Mark at);
  /// The task state changed or the connection ended: all are off (1.4).
  void cancel();
  /// The recorder was blind: whether they are in force still shows with the next value.
  void on_blind();

  struct Missing {
    ProcessVariable variable;
    std::uint32_t interval_ms = 0;
    Mark since;  // last value, or the command
    bool came = false;
  };
  /// Accepted time intervals without a value for `periods` of them, at least 2 s: each silence is told once.
  /// `must_acknowledge`: from version 4 on, without an acknowledgement or a value nothing was accepted.
  std::vector<Missing> missing(TimeNs now, double periods, bool must_acknowledge);
  /// Variables whose values came by an accepted time interval.
  std::uint64_t watched() const { return watched_; }

 private:
  struct Setup {
    std::optional<Measurement> slots[5];  // as in ValueEntry
    bool acknowledged = false;            // the time interval
    bool came = false;                    // a value since the time interval
    bool told = false, unproven = false;
    std::optional<Mark> last;         // value
    std::optional<TimeNs> suspected;  // when it was first seen to be missing
  };
  void put(ProcessVariable variable, Setup& setup, std::size_t slot, std::optional<Measurement> measurement);

  Device& device_;
  std::map<ProcessVariable, Setup> setups_;
  std::uint64_t watched_ = 0;
};

}  // namespace tramlog
