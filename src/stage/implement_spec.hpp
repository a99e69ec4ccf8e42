// A seed drill and its task controller, as a scenario describes them (SCENARIO.md, [implement]).
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/time.hpp"

namespace tramlog::stage {

/// From this moment on that value.
using Knots = std::vector<std::pair<SpanNs, double>>;

/// Which family of the data dictionary a meter speaks (fact sheet, process data, 5.1).
enum class Product : std::uint8_t { mass, volume, count };
struct ProductTerms {
  unsigned set_ddi, actual_ddi, minimum_ddi, maximum_ddi, total_ddi;
  double total_per_raw_m2;  // raw units of the total for one raw unit of the rate on one square metre
  unsigned content_ddi, capacity_ddi;
};
const ProductTerms& terms(Product product);

struct MeterSpec {
  std::string designator = "Seed";
  Product product = Product::mass;
  unsigned order = 1;
  SpanNs dead_time = 400 * kMillisecond;
  SpanNs time_constant = 400 * kMillisecond;  // first order; second order: 1 / natural frequency
  double damping = 0.8;                       // second order
  double settled_error_pct = 0.3;             // of the range, signed
  double noise_pct = 0.2;                     // of the rate, of what is told
  double maximum = 30'000, minimum = 1'000;   // raw units of the rate; the maximum is the range
  SpanNs sample_period = 500 * kMillisecond;
  bool dense = true;         // also on change, about 1 % of the set rate
  double content = 600'000;  // raw units of the content at the start
  double capacity = 900'000;
  Knots rates;  // what the task controller sets
};

struct SectionSpec {
  std::int32_t x_mm = -3000, y_mm = 0, width_mm = 1000;
  SpanNs on_delay = 500 * kMillisecond, off_delay = 300 * kMillisecond;
};

enum class Trouble : std::uint8_t {
  meter_slow,
  meter_hunting,
  meter_offset,
  meter_overshoot,
  meter_dead,
  meter_no_set_rate,
  meter_limit,
  meter_flow_stopped,
  section_stuck_on,
  section_stuck_off,
  section_late,
  section_late_off,
  section_flicker,
  section_outside_work,
  section_error,
  section_overridden,
  implement_off,
  wheel_lost,
  ground_lost,
  selected_lost,
  sources_differ,
  source_fallback,
  zero_while_working,
  fix_lost,
  fix_degraded,
  blower_low,
  pressure_low,
  bin_empty,
  total_wrong,
  total_frozen,
  total_back,
  area_wrong,
  tc_lost,
  status_late,
  client_lost,
  pool_refused,
  value_refused,
  no_answer,
  value_missing,
  echo_missing,
  width_wrong,
  overlap,
  missing_offsets,
  units_differ,
  order_swapped,
  pool_broken,
  undeclared,
  fewer_sections,
};
struct TroubleTerms {
  const char* what;  // in the scenario and in the truth
  const char* code;  // the line of the check-list that it provokes
};
const TroubleTerms& terms(Trouble trouble);
inline constexpr std::size_t kTroubles = static_cast<std::size_t>(Trouble::fewer_sections) + 1;
/// Those from which a drawn drill gets its fault.
inline constexpr std::size_t kDrawnTroubles = static_cast<std::size_t>(Trouble::units_differ) + 1;

/// `how` of client_lost: only its task message is missing.
inline constexpr std::string_view kTaskMessage = "task-message";

struct FaultSpec {
  Trouble what = Trouble::meter_slow;
  SpanNs at = 0;
  std::optional<SpanNs> length;
  unsigned meter = 1, section = 1;  // counted from 1
  double strength = 0;              // meaning and default by `what` (SCENARIO.md); 0: default
  SpanNs period = 5 * kSecond;      // of hunting
  std::string how;                  // variant by `what`
  unsigned errors = 0x10;           // PDACK error bits
  bool active(SpanNs now) const { return now >= at && (!length || now < at + *length); }
};

struct ImplementSpec {
  std::string client, task_controller, terminal, tractor;
  unsigned client_version = 4, tc_version = 4;
  SpanNs start_wait = 6 * kSecond;
  bool stored_pool = false;
  unsigned padding_objects = 0;
  bool pressure = true;
  bool requests_totals = true;
  SpanNs totals_interval = 0;  // measurement by time; 0: none
  std::string designator = "Seed drill", software = "1.0", serial = "1";
  std::array<std::uint8_t, 8> language{{0x65, 0x6E, 0x4F, 0x03, 0x00, 0x00, 0xFF, 0xFF}};
  std::vector<MeterSpec> meters;
  std::vector<SectionSpec> sections;
  Knots speed;          // m/s, ramps between
  Knots work;           // of the master: 1 on, 0 off
  Knots section_masks;  // what the task controller commands; bit 0 is the leftmost section
  SpanNs task_start = 16 * kSecond, task_end = 90 * kSecond;
  double blower_rpm = 3800, blower_minimum = 3000, blower_maximum = 4600;
  double pressure_mbar = 60, pressure_minimum = 30, pressure_maximum = 120;
  double slip_pct = 1.5, course_error_pct = 0.3;  // wheel and positioning speed against the true one
  bool random = false;
  enum class Draw : std::uint8_t { none, any } draw = Draw::none;
  std::vector<FaultSpec> faults;

  bool v4() const { return client_version >= 4 && tc_version >= 4; }
  std::int32_t width_mm() const {
    std::int32_t sum = 0;
    for (const SectionSpec& section : sections) sum += section.width_mm;
    return sum;
  }
};

/// Sections side by side, left to right, around the middle of the machine; the outer ones answer later by up
/// to `outer`.
void place_sections(ImplementSpec& implement, std::size_t count, std::int32_t width_mm, std::int32_t x_mm,
                    SpanNs on_delay, SpanNs off_delay, SpanNs outer);

struct Scenario;
/// Draws what is to be drawn with the scenario's seed, and works out what follows for the rest of the
/// scenario: language answers, silences of a partner. Once, before it is played.
void prepare_implements(Scenario& scenario);
/// A whole drill from one seed (healthy ranges: SCENARIO.md), with the fault if one is wanted.
void draw_implement(ImplementSpec& implement, std::uint64_t seed);

}  // namespace tramlog::stage
