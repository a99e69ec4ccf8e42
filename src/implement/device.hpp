// One implement as the bus shows it: its description, its values, whether it works. What the watches look at.
#pragma once

#include <optional>
#include <string>

#include "implement/limits.hpp"
#include "implement/machine_state.hpp"
#include "implement/values.hpp"
#include "schema/schema.hpp"

namespace tramlog {

/// Plain state; ImplementWatch keeps it right and calls the watches afterwards.
struct Device {
  Device(const Schema& the_schema, const SeedingLimits& the_limits, const MachineState& the_machine)
      : schema(the_schema), limits(the_limits), machine(the_machine) {}

  const Schema& schema;
  const SeedingLimits& limits;
  const MachineState& machine;  // of its bus

  BusIndex bus = 0;
  ControllerId client = kNobody;
  Address address = 0;
  TimeNs now = 0;     // of the latest event
  DevicePool pool;    // empty while not known
  ValueTable values;
  bool task_active = false;      // as the task controller says
  std::optional<bool> task_told; // none: no task controller status was heard
  std::optional<Mark> pool_at;
  /// Its rates and sections are kept for pictures; so many of each.
  bool pictured = false;
  static constexpr std::size_t kMaxPicturedPairs = 24, kMaxPicturedSections = 64;

  /// The value in force of a DPT or, if there is none, told or set on the bus.
  std::optional<std::int64_t> value_of(ProcessVariable variable) const;
  /// DDI 141 told by the device element or the boom (a function with sections, or with DDI 141); a device that never tells it: any section on, else
  /// unknown.
  std::optional<bool> work_state() const;
  /// Any section on by the latest actual states, condensed or single; none if no section state was told.
  std::optional<bool> any_section_on() const;
  /// It should deliver now: work state on (or unknown), a section on (or unknown) and the speed above
  /// limits["speed.working_mm_s"]; whether a task runs does not matter to the ground. None: nothing on this bus tells either
  /// work state or sections, or nobody tells the speed.
  std::optional<bool> working() const;

  /// "seed bin, element 4"; "element 4" without a description.
  std::string words(std::uint16_t element) const;
  /// Raw value in words and units: through the presentation object, else the dictionary: "181.3 kg/ha", "12000 mg/m2".
  std::string value_words(ProcessVariable variable, std::int64_t raw) const;
  /// Raw to the dictionary's unit; the raw value itself for an unknown DDI.
  double in_units(std::uint16_t ddi, double raw) const;
  std::string unit_of(std::uint16_t ddi) const;

 private:
  struct States {
    std::optional<bool> work, section;
  };
  const States& states() const;
  mutable States states_;
  mutable std::uint64_t states_at_ = UINT64_MAX;  // values.state_changes() when they were worked out
  mutable std::size_t states_elements_ = 0;       // and the pool's elements
};

/// As Device::value_words.
std::string value_words(const Schema& schema, const DevicePool& pool, ProcessVariable variable, std::int64_t raw);

/// Sign as the dictionary has it (fact sheet, process data, 8.3).
std::int64_t signed_raw(const Schema& schema, std::uint16_t ddi, std::uint32_t raw);

}  // namespace tramlog
