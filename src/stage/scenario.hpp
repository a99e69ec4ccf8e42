// What a scenario file says, as plain data (SCENARIO.md explains the keys). Times are nanoseconds from the
// start.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"
#include "can/can_id.hpp"
#include "stage/implement_spec.hpp"

namespace tramlog::stage {

struct BusSpec {
  std::string name;
  std::uint32_t bitrate = 250'000;
  bool statistics = true;  // an interface statistics block every second
};

/// Some bytes of a payload that change from one sending to the next, least significant first.
struct Variation {
  enum class How { counter, random, walk };
  How how = How::counter;
  unsigned byte = 1;   // B1 is the first
  unsigned width = 1;  // bytes
  std::int64_t low = 0, high = 255, step = 1;
};

enum class Builder {
  fixed,
  wheel_speed,
  ws_maintenance,
  ground_speed,
  selected_speed,
  course,
  position,
  battery_voltage,
  engine_speed,
};
enum class Carrier { automatic, bam, rts_cts, etp, fast_packet };

struct PayloadSpec {
  std::vector<std::uint8_t> base;
  std::vector<Variation> variations;
  Builder builder = Builder::fixed;
};

struct MessageSpec {
  enum class When { cyclic, on_change, burst, on_request, heartbeat };
  When when = When::cyclic;
  Pgn pgn = 0;
  std::string to;  // label of the destination of a PDU1 message; empty = everybody
  unsigned priority = 6;
  SpanNs period = 0;       // cyclic and heartbeat; on change: mean interval; burst: between bursts
  SpanNs jitter = 0;       // cyclic: release moves by up to this, either way
  SpanNs minimum_gap = 0;  // on change
  unsigned burst_count = 10;
  SpanNs burst_spacing = 5 * kMillisecond;
  std::optional<SpanNs> phase;  // first sending after the controller became operational; else random
  SpanNs from = 0;              // from the start of the scenario
  std::optional<SpanNs> until;
  bool fast_packet = false;
  PayloadSpec payload;
};

struct RequestSpec {
  Pgn pgn = 0;
  std::string to;     // label; empty with each or global
  bool each = false;  // every controller on this bus, one after another
  bool global = false;
  bool new_claims = false;  // also everybody who claims later
  SpanNs after = 0;         // after becoming operational
  SpanNs spacing = 150 * kMillisecond;
  std::optional<SpanNs> every;
  std::optional<unsigned> rate_ms;  // request for repetition rate instead of a plain request
};

enum class Failure {
  none,
  abort_by_sender,
  abort_by_receiver,
  sender_stops,
  receiver_silent,
  interrupted,
  missing_packet,
  repaired_packet,
};

struct TransferSpec {
  Carrier carrier = Carrier::automatic;
  Pgn pgn = 0;
  std::string to;        // label; empty = everybody
  std::size_t size = 0;  // bytes
  SpanNs at = 0;         // from the start of the scenario
  std::optional<SpanNs> every;
  SpanNs packet_gap = 0;               // 0: 60 ms for BAM, short for the others
  SpanNs response = 8 * kMillisecond;  // how long a side takes to answer
  unsigned window = 16;                // packets per CTS
  unsigned holds = 0;                  // CTS(0) before the first real CTS
  Failure failure = Failure::none;
  std::uint32_t after = 2;  // packets before the failure, or the number of the packet it hits
  std::uint8_t abort_reason = 250;
  bool abort_on_timeout = false;      // the side that waits in vain says so (reason 3)
  std::vector<std::uint8_t> payload;  // else made up
};

struct AnswerSpec {
  Pgn pgn = 0;
  std::vector<std::uint8_t> payload;
};

enum class SoftwareForm { standard, no_count, no_final_star, final_zero };

struct ControllerSpec {
  std::string label;
  std::size_t bus = 0;
  std::uint64_t name = 0;
  Address address = 0x80;
  std::vector<Address> later_addresses;  // wanted at its second start, its third ..; it keeps the last
  bool absent = false;           // never powered: only spoken of by others
  bool already_running = false;  // has its address before the capture starts
  SpanNs power_on = 0;
  SpanNs boot = 100 * kMillisecond;
  bool asks_for_claims = true;
  bool moves = true;  // on a lost contention; only with a self-configurable NAME
  bool nacks = true;
  bool reports_violation = false;  // DTC 2000 + SA, FMI 31 when somebody else uses its address
  std::vector<std::string> software;
  SoftwareForm software_form = SoftwareForm::standard;
  std::vector<AnswerSpec> answers;  // identification and other messages given on request
  std::vector<Pgn> busy, denied, ignored;
  SpanNs answer_time = 20 * kMillisecond;
  bool dm1_always = false;               // J1939: every second, also without a fault
  std::vector<std::string> working_set;  // other members
  std::string supply, side;
  std::optional<double> brown_out;   // V; off below it. None: drawn from the seed
  bool reports_low_voltage = false;  // SPN 168 below `low_voltage`
  double low_voltage = 10.5;         // V
  std::optional<std::uint8_t> low_voltage_fmi;
  bool complains = false;  // SPN 2000 + address of a partner that is not heard any more
  std::vector<MessageSpec> messages;
  std::vector<RequestSpec> requests;
  std::vector<TransferSpec> transfers;
};

struct StrangerSpec {
  std::string label;
  std::size_t bus = 0;
  std::uint32_t id = 0;
  bool standard = false, remote = false, fd = false, bit_rate_switch = false;
  SpanNs period = kSecond;
  SpanNs from = 0;
  std::optional<SpanNs> until;
  unsigned length = 8;  // DLC of a remote frame
  PayloadSpec payload;
};

/// The system's voltage; V.
struct PowerSpec {
  double battery = 12.6, alternator = 14.2;
  std::optional<bool> running;  // the engine at the start; none: unless it is cranked later
};

struct SupplySpec {
  std::string name, side;
  double drop = 0;  // V lost in its cables
  Knots profile;    // V, ramps between; instead of the machine's voltage
};

/// A part of the trunk that can be parted from the rest at one place.
struct BranchSpec {
  std::string name, behind;  // behind: the branch it hangs on; empty = the trunk at the recorder
  bool power = true;         // the connector carries the supply, too
  std::vector<std::string> controllers;
};

/// A cause that is no event, told as it is: it goes into the truth only.
struct CauseSpec {
  std::string code;
  SpanNs from = 0;
  std::optional<SpanNs> until;
  std::vector<std::string> controllers;
  std::string supply, branch, origin;
  std::size_t bus = 0;
};

/// The recorder's own notes: run and boot are counted by it.
struct RecorderSpec {
  bool notes = false;
  std::uint64_t run = 1, boot = 1;
};

struct HappeningSpec {
  enum class What {
    controller_off,
    controller_on,
    mute,
    unmute,
    supply_off,
    supply_on,
    bus_dead,
    bus_alive,
    key_off,
    key_on,
    logger_deaf,
    logger_stopped,
    link_down,
    link_paused,
    error_frames,
    bus_off,
    dtc_set,
    dtc_clear,
    commanded_address,
    claim_request,
    stop_broadcast,
    heartbeat_stop,
    software_update,
    clock_step,
    stream_stop,
    stream_start,
    // what happens physically
    crank,
    voltage,
    fuse_opens,
    contact_loose,
    connector_opens,
    stub_opens,
    trunk_opens,
    terminator_missing,
    restarts_itself,
    floods,
    overload,
    wrong_bit_rate,
    operator_power_down,
    logger_unplugged,
    task_controller_lost,
    terminal_lost,
    speed_source_lost,
    dies,
    power_fails,
    bus_shorted,
    // the recorder
    mark,
    logger_cut,
    disk_trouble,
  };
  enum class Loss { stops, frozen, not_available };
  What what = What::controller_off;
  SpanNs at = 0;
  std::optional<SpanNs> length;  // `for`: undone after this
  std::string controller, from, supply, side;
  std::optional<std::size_t> bus;
  std::optional<SpanNs> boot;
  std::string cause;               // words for the truth
  bool interface_counter = false;  // deaf: ifdrop instead of osdrop
  bool reclaim = false;            // bus alive: everybody starts with a new claim
  unsigned count = 1;
  std::uint32_t error_class = 0x88;
  std::vector<std::uint8_t> data;
  std::uint32_t spn = 0;
  std::uint8_t fmi = 0;
  Address address = 0;
  Pgn pgn = 0;
  std::vector<std::string> software;
  SpanNs step = 0;
  std::string branch, text;
  std::optional<double> volts;       // V
  std::optional<double> share;       // of frames
  std::optional<double> load;        // of the bus, more than before
  std::optional<SpanNs> every;       // restarts
  std::vector<SpanNs> times;         // restarts, from the start of the scenario
  std::optional<unsigned> openings;  // loose contact; none: drawn
  SpanNs shortest = 40 * kMillisecond, longest = 500 * kMillisecond;  // of an opening
  SpanNs period = 600 * kMicrosecond;                                 // floods
  std::vector<std::string> controllers;                               // overload; none: all
  Loss how = Loss::stops;                                             // speed source
};

struct DamageSpec {
  enum class How { truncate, flip, zero, insert, remove };
  How how = How::truncate;
  std::int64_t at = 0;  // byte; negative: from the end
  std::size_t bytes = 0;
  unsigned bit = 0;  // flip
};

struct Scenario {
  std::string file;
  std::string title;
  TimeNs start = 0;
  std::uint64_t seed = 1;
  SpanNs duration = 0;
  std::vector<BusSpec> buses;
  std::vector<ControllerSpec> controllers;
  std::vector<StrangerSpec> strangers;
  std::vector<HappeningSpec> happenings;
  std::vector<DamageSpec> damage;
  std::vector<ImplementSpec> implements;
  PowerSpec power;
  std::vector<SupplySpec> supplies;
  std::vector<BranchSpec> branches;
  std::vector<CauseSpec> causes;
  RecorderSpec recorder;
  bool tells_causes = false;  // it speaks of power, wiring or causes: the truth can name the causes
};

/// Reads a scenario with the files that it includes. Errors (ErrorKind::usage) name key, file and line.
Result<Scenario> read_scenario(const std::string& path);
/// The same from a text without `include`; `name` stands for the file in errors.
Result<Scenario> read_scenario_text(const std::string& text, const std::string& name);

}  // namespace tramlog::stage
