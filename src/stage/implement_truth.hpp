// What really happened on an implement, for the truth file (key `implements`). All of it comes from the
// simulation's state.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "stage/drill.hpp"
#include "stage/implement_spec.hpp"

namespace tramlog::stage {

/// How a meter answered one change of its set rate, on a grid of 5 ms.
struct StepTruth {
  TimeNs at = 0;  // stamp of the frame with the new set rate
  double from = 0, to = 0;
  std::optional<double> dead_time_s, rise_time_s, overshoot_pct, settled;
  bool answered = false;
};

/// Changes of the set rate that came while the machine worked, each followed by undisturbed work until it
/// settled. `trace`: delivered rate, one value each 5 ms, the first at `first`.
std::vector<StepTruth> measure_steps(const std::vector<SetRate>& changes, const std::vector<float>& trace,
                                     TimeNs first, TimeNs end, double range);

struct MeterTruth {
  unsigned element = 0;
  std::string designator;
  ProductTerms ddis{};
  unsigned order = 1;
  double range = 0;
  std::optional<double> hunting_amplitude, hunting_period_s;
  double sample_period_s = 0;
  std::vector<StepTruth> steps;
  std::optional<double> settled_error_pct;
  std::int64_t total = 0;
  std::optional<std::int64_t> total_sent;
};

struct SectionTruth {
  unsigned section = 0, element = 0;
  SectionSpec place;
  std::vector<double> on_delays, off_delays;
  double message_period_s = 0;
  std::string stuck;  // "on", "off" or nothing
};

struct WorkTruth {
  TimeNs at = 0;
  std::string by;
  unsigned element = 0;
  bool on = false;
};

struct FaultTruth {
  std::string what, code;
  std::optional<unsigned> element, section;
  TimeNs start = 0;
  std::optional<TimeNs> end;
};

struct ImplementTruth {
  std::string client, task_controller;
  std::uint64_t name = 0;
  unsigned version = 0;
  bool healthy = true;
  std::string structure_label, localization_label, extended_label;  // hex
  std::size_t pool_bytes = 0;
  unsigned pool_objects = 0;
  bool uploaded = false;
  std::optional<TimeNs> activated_at;
  std::string protocol;
  std::vector<MeterTruth> meters;
  std::vector<SectionTruth> sections;
  double area_m2 = 0, distance_mm = 0, time_s = 0;
  std::vector<WorkTruth> work;
  std::vector<std::pair<TimeNs, std::string>> speed_sources;
  std::vector<FaultTruth> faults;
};

}  // namespace tramlog::stage
