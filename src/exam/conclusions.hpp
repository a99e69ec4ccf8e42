// What an examination found, as plain data: the contract's report without its rendering. Times are capture
// times, frame numbers count packets of the capture from 1.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/time.hpp"
#include "can/can_id.hpp"
#include "can/event.hpp"
#include "can/mark.hpp"
#include "exam/bus_clock.hpp"
#include "exam/day_series.hpp"
#include "exam/roster.hpp"
#include "implement/records.hpp"
#include "isobus/diagnostics.hpp"
#include "isobus/identification.hpp"
#include "isobus/name.hpp"
#include "isobus/network.hpp"
#include "isobus/transfers.hpp"

namespace tramlog {

/// Why the recorder did not hear.
enum class Deafness : std::uint8_t {
  frames_lost,     // some of the frames, the others are here
  stood_still,     // no statistics blocks: it stood still, or its clock was set forward
  cut_off,         // one run ended without a word, another begins
  bus_off,         // its interface took itself off the bus
  interface_down,
  paused,          // on purpose
  damaged,         // heard and written, but the capture cannot be read here
  left_out         // on purpose: it lies between the parts of a slice
};

/// The recorder itself saw nothing, or not all, in this time.
struct BlindSpan {
  TimeNs start = 0;
  TimeNs end = 0;
  std::optional<std::uint64_t> frames_lost;
  std::string reason;
  Deafness kind = Deafness::frames_lost;
};

struct BusSummary {
  std::string name;
  std::uint64_t frames = 0;
  std::uint64_t error_frames = 0;
  std::uint64_t bitrate = 0;  // bit/s; 250000 where the capture does not tell
  bool bitrate_told = false;
  double load_mean_pct = 0;  // stuffed bits with intermission / bits that the time in which it could hear could hold
  double load_peak_pct = 0;  // highest full second
  TimeNs load_peak_at = 0;
  std::uint64_t eleven_bit = 0;  // frames with an 11-bit identifier
  std::uint64_t remote = 0;
  std::uint64_t fd = 0;
  bool has_statistics = false;  // statistics blocks came at a steady pace
  std::vector<BlindSpan> blind;
};

struct DamageRecord {
  std::uint32_t file = 0;
  std::uint64_t offset = 0;
  std::uint64_t bytes = 0;
  std::string reason;
  TimeNs time = 0;  // of what was read before it
  Damage::Kind kind = Damage::Kind::unreadable;
};

enum class ControllerState : std::uint8_t { present, intermittent, lost, refused };

struct ControllerRecord {
  Name name;
  BusIndex bus = 0;
  std::vector<AddressInterval> addresses;
  Address address = kNullAddress;  // the latest one held
  Mark first_seen, last_seen;
  std::uint64_t claims = 0;
  std::uint64_t frames = 0;
  std::vector<std::string> software;
  std::optional<Mark> software_reported;
  SoftwareSilence software_silence = SoftwareSilence::never_asked;  // meaningful while `software` is empty
  std::optional<EcuIdentification> ecu;
  std::optional<ProductIdentification> product;
  std::optional<ComponentIdentification> component;
  std::vector<Functionality> functionalities;
  std::optional<TimeNs> known_before;  // a slice: known from what lies before it, and heard then for the last time
  std::string label;  // from the roster; empty: none
  ControllerState state = ControllerState::present;
  /// How its silence was judged: how many of its streams have a rhythm, and the slowest of them.
  unsigned rhythms = 0;
  SpanNs fastest_period = 0, slowest_period = 0;  // of those
};

struct UnclaimedRecord {
  Address address = 0;
  bool asked = false;  // everybody was asked for address claims while it was talking, and it did not answer
  BusIndex bus = 0;
  Mark first_seen, last_seen;
  std::uint64_t frames = 0;
  std::vector<std::string> software;
};

enum class DropoutKind : std::uint8_t { controller, bus_silent, power_down };

struct Dropout {
  std::optional<std::size_t> controller;  // index into Conclusions::controllers; none: never claimed
  Address address = 0;
  BusIndex bus = 0;
  DropoutKind kind = DropoutKind::controller;
  Mark start;               // last frame heard
  std::optional<Mark> end;  // first frame after
  TimeNs judged_until = 0;  // end, or the capture's end
  bool reclaimed = false;
  std::optional<unsigned> group;
  std::uint64_t messages_missed = 0;              // by the rhythms it had
  SpanNs fastest_period = 0, slowest_period = 0;  // of those rhythms
  bool cause_unknown = false;  // bus_silent only: nothing proves that the recorder was hearing
};

/// A time in which nothing at all was heard on a bus although it had a rhythm.
struct BusSilence {
  BusIndex bus = 0;
  Mark start;
  std::optional<Mark> end;
  TimeNs judged_until = 0;
  enum class Verdict : std::uint8_t { silent, power_down, unknown, blind } verdict = Verdict::silent;
  unsigned statistics = 0;  // blocks within that prove the recorder alive
  std::string why;          // one sentence with the measured numbers
};

struct DtcRecord {
  std::optional<std::size_t> controller;  // none: from a voice that never claimed
  Address address = 0;
  BusIndex bus = 0;
  Dtc dtc;
  std::optional<std::string> spn_text;  // none: not known
  std::string fmi_text;
  Mark first_active, last_active;
  std::optional<Mark> cleared;
  unsigned activations = 0;
  std::vector<Mark> times;              // of the activations, at most DtcTrack::kMaxTimes
  bool previously_active_only = false;  // known from DM2 alone: the times are those of the report
  std::optional<Address> clear_requested_by;
};

enum class Severity : std::uint8_t { note, warning, fault };

struct Evidence {
  Mark at;
  std::string text;
};

struct Fault {
  std::string code;  // dotted, stable
  Severity severity = Severity::warning;
  TimeNs start = 0;
  std::optional<TimeNs> end;
  std::vector<std::size_t> controllers;
  std::optional<BusIndex> bus;
  std::string text;
  std::vector<Evidence> evidence;
  std::optional<std::size_t> dtc;  // index into Conclusions::dtcs, if it is about one
};

enum class Confidence : std::uint8_t { certain, likely, possible };

struct Finding {
  std::string cause;
  Confidence confidence = Confidence::possible;
  double score = 0;          // sum of the weights of its evidence (dbc/cause-weights.toml)
  std::size_t incident = 0;  // findings with one number are two causes of one incident that both stand
  std::vector<std::size_t> controllers;   // of the incident
  std::vector<std::size_t> faults;        // indexes explained: what the incident consists of ..
  std::vector<std::size_t> consequences;  // .. and what only follows from it
  std::vector<std::size_t> dropouts;
  TimeNs start = 0;
  std::string text;
  std::vector<std::string> why;
  std::vector<std::string> against;  // what speaks against it
  std::string tell_apart;            // how to decide between it and the other cause; empty: it stands alone
  std::vector<std::string> next_steps;
};

/// What part of the day a line of the story belongs to.
enum class Phase : std::uint8_t { quiet, start_up, work, trouble, recorder, mark, shut_down, end };

/// One line of what happened in order (exam/story.hpp).
struct StoryLine {
  TimeNs time = 0;
  std::optional<TimeNs> until;  // none: a moment, or it went on until the end
  Phase phase = Phase::quiet;
  std::string text;                    // without time and full stop, at most kStoryColumns in ASCII
  std::optional<std::size_t> finding;  // index into Conclusions::findings
};

enum class EntryState : std::uint8_t {
  present,
  missing,
  intermittent,
  lost,
  wrong_software,
  software_unknown,
  ambiguous
};

struct RollcallEntry {
  std::string label;
  EntryState state = EntryState::missing;
  std::optional<std::size_t> controller;
  bool unheard = false;  // of a slice: left out of it, or known from before it and silent in it; nothing tells how it was
  std::string detail;
  bool required = true;
  std::optional<std::size_t> stand_in;  // missing: another unit that does this job
  bool nameless = false;                // ambiguous: voices without a claim talk, and it may be one of them
  std::string supply, side;
  std::optional<std::uint32_t> function, device_class;  // of the NAME that is wanted, if it says so
};

struct Rollcall {
  std::string file;
  std::string machine;
  std::vector<RollcallEntry> entries;  // in the order of the roster
  std::vector<Name> extra;             // on the bus, unknown to the roster; sorted
};

struct TransferSummary {
  /// counts[protocol][outcome]; protocol bam, rts-cts, etp, fast-packet.
  std::array<std::array<std::uint64_t, 7>, 4> counts{};
  std::vector<TransferEnd> failed;      // outcomes other than complete and unfinished, by start
  std::uint64_t failed_not_listed = 0;  // beyond the cap
  TransferStats stats;
};

/// One life of the recording program.
struct RecorderRun {
  std::uint64_t number = 0;
  std::uint64_t boot = 0;  // 0: not told
  TimeNs begin = 0;
  std::optional<TimeNs> end;  // in good order; none: it was cut off, or goes on
  SpanNs clock_shift = 0;     // time stamps minus the system's clock at its begin
  std::string text;           // why
};

struct RecordedNote {
  TimeNs time = 0;
  BusIndex bus = 0;  // if it is of a bus
  RecorderNote note;
};

/// What the recorder told of itself, and how its clock compares with the bus's.
struct RecorderRecord {
  std::vector<RecorderRun> runs;
  std::vector<RecordedNote> notes;  // other than begin and end of runs, in the order of the capture
  std::uint64_t not_kept = 0;       // beyond the cap
  std::optional<ClockComparison> clock;

  bool empty() const { return runs.empty() && notes.empty() && !clock; }
};

struct Conclusions {
  TimeNs start = 0;
  TimeNs end = 0;
  std::uint64_t frames = 0;  // data and remote frames of all buses
  std::uint64_t error_frames = 0;
  std::uint64_t foreign = 0;
  std::uint64_t short_frames = 0;
  std::uint64_t untimed = 0;
  std::vector<BusSummary> buses;
  std::vector<DamageRecord> damage;
  std::uint64_t damaged_bytes = 0;
  std::vector<ControllerRecord> controllers;  // by first seen, bus, NAME
  std::vector<UnclaimedRecord> unclaimed;
  std::vector<Dropout> dropouts;
  std::vector<BusSilence> silences;
  std::vector<DtcRecord> dtcs;
  TransferSummary transfers;
  std::vector<Fault> faults;
  std::vector<Finding> findings;
  std::vector<StoryLine> story;  // by time, at most kStoryLines
  std::optional<Rollcall> rollcall;
  /// Clients and servers in it are indexes into `controllers` here, kNobody if they never claimed.
  SeedingRecord seeding;
  RecorderRecord recorder;
  DaySeries series;
  MachineRecord machine;

  bool nothing_read() const { return frames == 0 && error_frames == 0; }
};

/// Some of a longer recording (tramlog cut).
bool is_slice(const Conclusions& conclusions);

/// The span that a fault "recorder.blind" tells of; none: it is another fault.
const BlindSpan* blind_span(const Conclusions& conclusions, const Fault& fault);

/// How long the recorder was blind on any bus; times in which it was blind on several count once.
SpanNs blind_total(const Conclusions& conclusions);

/// True if a technician has something to do: a warning or fault, a controller that is lost, intermittent or
/// refused, a required roster entry that is not present. Notes and power-downs do not count (contract: exit
/// code 1).
bool something_wrong(const Conclusions& conclusions);

}  // namespace tramlog
