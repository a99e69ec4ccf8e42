// What was found about implements and what they were told, as plain data. Times are capture times.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/step_series.hpp"
#include "can/event.hpp"
#include "can/mark.hpp"
#include "isobus/device_pool.hpp"
#include "isobus/network.hpp"
#include "isobus/process_data.hpp"

namespace tramlog {

enum class Verdict : std::uint8_t { pass, attention, not_shown };

/// One number behind a line, for machines: "dead_time_s" 0.42 "s".
struct Figure {
  std::string key;  // snake case, unit at its end
  double value = 0;
  int decimals = 3;  // that are worth showing
};

struct Moment {
  Mark at;
  std::string text;
};

/// One line of the check-list.
struct CheckLine {
  std::string code;     // dotted, stable: "meter.dead-time"
  std::string topic;    // "meters": the heading it stands under (kTopics)
  std::string subject;  // whom it is about: "seed bin, element 4", "section 12", "task controller"; may be empty
  std::optional<std::uint16_t> element;
  std::optional<unsigned> section;  // counted from 1, leftmost
  Verdict verdict = Verdict::not_shown;
  std::string text;  // one or two sentences with the numbers; not shown: what would have to be on the bus
  std::vector<Figure> figures;
  std::vector<Moment> moments;  // at most kMaxMoments, the first and the worst
  std::optional<TimeNs> start, end;  // of what it is about; none: the whole recording
};
inline constexpr std::size_t kMaxMoments = 12;

/// Headings in the order of the check-list.
inline constexpr const char* kTopics[] = {"connection", "meters",   "sections", "work state", "speed",   "positioning",
                                          "blower",     "pressure", "contents", "blockage",   "totals",  "geometry",
                                          "units"};

/// One change of a set rate while the machine worked, and the answer (all times from the frame that carries it).
struct StepRecord {
  Mark at;
  std::int64_t from_raw = 0, to_raw = 0;
  bool answered = false;
  bool complete = false;  // it settled before the next change or the end of work; else only what could be seen
  std::optional<double> dead_time_s, rise_time_s, overshoot_pct;
  std::optional<double> settled_raw;
};

/// A set quantity and the delivered one at one element.
struct PairRecord {
  std::uint16_t element = 0;
  std::string subject;   // "seed bin, element 4"
  std::string quantity;  // "mass per area"
  std::uint16_t set_ddi = 0, actual_ddi = 0;
  std::uint64_t set_count = 0, actual_count = 0;
  std::optional<std::int64_t> last_set_raw, last_actual_raw;
  std::optional<double> range_raw;  // the quantity's maximum, declared or seen
  std::optional<double> sample_period_s;
  std::vector<StepRecord> steps;    // at most 64
  std::uint64_t steps_not_listed = 0;
  std::optional<double> dead_time_s, rise_time_s, overshoot_pct;  // medians over the complete steps
  std::optional<double> settled_error_pct;  // of range, signed: the worst settled stretch
  std::optional<double> hunting_amplitude_raw, hunting_period_s;
  double working_s = 0;             // time with work, a set rate and delivered values
  std::optional<double> outside_tolerance_pct;  // share of working_s
  double without_set_rate_s = 0, at_limit_s = 0;
  StepSeries set_series, actual_series;  // raw; empty beyond Device::kMaxPicturedPairs
};

/// One section, counted from 1 at the left.
struct SectionRecord {
  unsigned section = 0;
  std::optional<std::uint16_t> element;
  std::string subject;
  std::optional<std::int32_t> x_mm, y_mm, width_mm;  // of its middle, from the device reference point
  bool outer = false;  // of the outer quarter on either side
  struct Delays {
    std::uint64_t count = 0;
    std::optional<double> median_s, spread_s, worst_s;  // spread: 90 % of them lie within
  };
  Delays on, off;
  std::uint64_t never_on = 0, never_off = 0;  // commands that were not followed before the next one, or for too long
  std::uint64_t flickers = 0;
  double outside_work_s = 0, on_s = 0, error_s = 0, overridden_s = 0;
  StepSeries commanded_series, on_series;  // 0 off, 1 on; by their time; empty beyond Device::kMaxPicturedSections
};

/// A reported total against what was delivered by the values on the bus.
struct TotalRecord {
  std::uint16_t element = 0;
  std::string subject;
  std::uint16_t ddi = 0;
  std::int64_t first_raw = 0, last_raw = 0;  // first and last within the task (after a reset: from 0)
  Mark first_at, last_at;
  std::optional<double> reported;   // growth in the dictionary's unit
  std::optional<double> integrated; // the same, out of rate x width x speed over the same time
  std::optional<double> difference_pct;
  std::string unit;
};

/// One value of an element, the latest on the bus.
struct LastValue {
  ProcessVariable variable;
  std::int64_t raw = 0;
  Mark at;
  bool by_device = true;  // else set by the task controller, never reported
  std::optional<std::int64_t> set_raw;  // the latest value that a task controller wrote
  std::optional<Mark> set_at;
  std::uint64_t count = 0;  // values from the device
  std::int64_t least_raw = 0, greatest_raw = 0;  // of the device's
};

/// Where the description of a device came from.
/// before_cut: uploaded in the recording that this one is a slice of, before it begins.
enum class PoolSource : std::uint8_t { none, uploaded, library, given, before_cut };

/// The life of one connection between a client and a task controller or data logger.
enum class DialogueState : std::uint8_t { announced, versioned, labelled, uploading, active, refused, lost };

struct LinkEvent {
  Mark at;
  std::string text;  // "object pool of 2310 bytes accepted"
  bool trouble = false;
};

struct LinkRecord {
  BusIndex bus = 0;
  ControllerId server = kNobody;  // the task controller or data logger; kNobody: never claimed
  Address server_address = 0;
  bool data_logger = false;
  DialogueState state = DialogueState::announced;  // at the end
  Mark first, last;                        // first and last word either way
  std::optional<std::uint8_t> client_version, server_version;
  std::vector<LinkEvent> events;           // at most 200, in time order
  std::uint64_t events_not_listed = 0;
  std::uint64_t requests = 0, answers = 0, unanswered = 0;       // values asked for
  std::uint64_t sets = 0, acknowledged = 0, refused = 0;         // values set; PDACKs
  std::uint64_t measurements = 0, measurements_refused = 0;      // measurement commands
};

/// One implement, as a client of task controllers.
struct ImplementRecord {
  BusIndex bus = 0;
  ControllerId client = kNobody;  // of the network (in Conclusions: of its controllers); kNobody: never claimed
  Address address = 0;
  PoolSource source = PoolSource::none;
  std::string source_words;       // "uploaded 06:12:14", "from the library", "--device-description drill.pool"
  std::optional<Mark> pool_at;    // when it was uploaded or activated
  std::optional<StructureLabel> structure;
  std::optional<LocalizationLabel> localization;
  DevicePool pool;                // empty: not known
  std::vector<std::uint8_t> pool_bytes;  // as it came over the bus or out of the library; at most kMaxPoolBytes
  bool activated = false;
  std::optional<bool> task_running;  // at the end, as the task controller says; none: it never told
  bool worked = false;            // a work state or a section was told to be on
  std::vector<LinkRecord> links;
  std::vector<LastValue> values;  // by element, then DDI
  std::uint64_t values_not_kept = 0;
  std::vector<PairRecord> pairs;        // by element, then DDI
  std::vector<SectionRecord> sections;  // left to right
  std::vector<TotalRecord> totals;
  std::vector<CheckLine> lines;         // by topic, then as found
};

/// A stretch in which the machine drove, or worked. Short pauses belong to it (ActivityLog).
struct Stretch {
  TimeNs start = 0, end = 0;  // first and latest moment at which it did
  SpanNs moving = 0;          // without the pauses
  double distance_m = 0;      // the told speed over that time
  double fastest_mm_s = 0;
};

/// When the machine drove and worked, as one bus tells it.
struct ActivityRecord {
  BusIndex bus = 0;
  std::vector<Stretch> driving;  // faster than standing; in time order, at most ActivityLog::kMaxStretches
  std::vector<Stretch> working;  // .. while an implement's work state or a section was on
};

/// All implements, and what belongs to the machine as a whole.
struct SeedingRecord {
  std::vector<ImplementRecord> implements;  // by bus, then by first word
  std::vector<CheckLine> lines;             // speed, positioning, units, task controllers: by topic
  std::vector<ActivityRecord> activities;   // of the buses on which it drove
  std::uint64_t implements_not_kept = 0;
  bool empty() const { return implements.empty() && lines.empty(); }
};

}  // namespace tramlog
