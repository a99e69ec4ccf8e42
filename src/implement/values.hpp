// Every process data value of one device, both ways, latest and extremes. Bounded.
#pragma once

#include <cstdint>
#include <map>
#include <optional>

#include "implement/records.hpp"

namespace tramlog {

/// One value on the bus, or a value that the task controller set.
struct ProcessValue {
  ProcessVariable variable;
  std::int64_t raw = 0;    // sign as the dictionary has it (fact sheet, process data, 8.3)
  Mark at;
  bool by_device = true;   // from the client; else a set command to it
  bool wants_acknowledgement = false;  // command A
};

/// A measurement command in force (commands 4 to 8): what was asked for, and whether it was refused.
struct Measurement {
  std::uint32_t raw = 0;
  Mark at;
  bool refused = false;
};

struct ValueEntry {
  std::optional<ProcessValue> told;  // latest by the device
  std::optional<ProcessValue> set;   // latest by the task controller
  std::uint64_t count = 0;           // told
  std::int64_t least = 0, greatest = 0;
  std::optional<Measurement> measurements[5];  // time, distance, minimum, maximum, change; none: off
};

class ValueTable {
 public:
  static constexpr std::size_t kMaxVariables = 4096;  // against hostile traffic; a pool may hold 4096 elements
  void take(const ProcessValue& value);
  /// Null if neither told nor set.
  const ValueEntry* find(ProcessVariable variable) const;
  ValueEntry* entry(ProcessVariable variable);  // made if there is room; null beyond the cap
  /// The value in force: told by the device or written to it, whichever is later.
  std::optional<std::int64_t> latest(ProcessVariable variable) const;
  std::optional<std::int64_t> told(ProcessVariable variable) const;
  void cancel_measurements();
  const std::map<ProcessVariable, ValueEntry>& all() const { return entries_; }
  std::uint64_t not_kept() const { return not_kept_; }
  /// Grows whenever a told work state, single or condensed (DDI 141, 161-176), changes.
  std::uint64_t state_changes() const { return state_changes_; }

 private:
  std::map<ProcessVariable, ValueEntry> entries_;
  std::uint64_t not_kept_ = 0;
  std::uint64_t state_changes_ = 0;
};

}  // namespace tramlog
