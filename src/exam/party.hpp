// Everything that is remembered about one voice on the bus: its streams, when it was heard, what it said of
// itself.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/step_series.hpp"
#include "can/wire_bits.hpp"
#include "exam/conclusions.hpp"
#include "exam/pace.hpp"
#include "exam/stream_roles.hpp"

namespace tramlog {

struct Party;

/// How much a stream speaks, second by second; touched once a second.
struct StreamRate {
  std::uint64_t counted = 0;      // frames until the latest look
  double usual_per_s = 0;         // slow mean while it did not flood
  std::uint32_t usual_looks = 0;  // seconds behind it
  std::uint64_t high_bits = 0;    // of seconds in which the bus was highly loaded
  TimeNs flood_since = 0;
  std::uint32_t flood_looks = 0;  // seconds in a row
  std::int32_t flood = -1;        // index into the floods, once it is one
  // Spread of its gaps (Pace::Spread): the steady one that came first, and the worst after it.
  std::uint32_t blocks_seen = 0, steady_blocks = 0, late_blocks = 0;
  Pace::Spread steady, late;
  Mark late_from, late_until;
};

/// One (bus, source, PGN, destination). The head is what every frame touches.
struct Stream {
  TimeNs last = 0;
  Party* party = nullptr;
  std::uint64_t last_payload = 0;
  std::uint64_t count = 0;
  std::uint32_t id = 0;    // identifier of the last frame, with its priority
  std::uint16_t bits = 0;  // of the last frame on the wire
  std::uint8_t last_len = 0xFF;
  bool subscribed = false;
  bool skip_gap = true;  // the next gap is no sample: first frame, dropout, blindness
  bool fast_packet = false;
  WireHeader wire;
  Pace pace;

  // Below: touched by slow paths only.
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0, destination = 0;
  StreamRole role;
  TimeNs first = 0;
  TimeNs steady_since = 0;   // begin of its present run, after it had stopped under a living controller
  SpanNs paused = 0;         // sum of its pauses and of the silences of its controller
  std::uint32_t pauses = 0;  // those without a restart
  std::uint64_t last_frame = 0;
  std::uint32_t repeats = 0;  // frames with the payload of their predecessor
  bool stopped = false;       // past its limit while its controller went on talking
  std::uint32_t stops = 0;
  StreamRate rate;
};

/// A stream that ended while its controller lived on.
struct StreamStop {
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0, destination = 0;
  const Party* party = nullptr;
  Mark last;  // last frame of it
  std::optional<Mark> resumed;
  SpanNs period = 0;
  bool cyclic = false;  // it must come all the time (schema, or the standard)
};

/// A silence of one party as it stands while the capture is read; judged when all is known.
struct SilenceRecord {
  const Party* party = nullptr;
  Address address = 0;
  BusIndex bus = 0;
  Mark start;
  std::optional<Mark> end;
  bool reclaimed = false;
  bool answered = false;     // its claim came in time for an answer, and its slow rhythm does not show which it was
  bool unconfirmed = false;  // heard again just before the capture ended, its rhythm not yet
  bool on_purpose = false;   // heartbeat 255 came last: a controlled shutdown
  bool suspended = false;    // DM13 had stopped the traffic
  SpanNs fastest_period = 0;
  SpanNs slowest_period = 0;
  SpanNs limit = 0;       // silence longer than this is one
  double rate_per_s = 0;  // sum over the streams that had a rhythm
  unsigned rhythms = 0;
  // The fastest rhythm speaks to one controller only: who that is, and the limit by what it sends to all (0:
  // nothing).
  std::optional<Address> addressee;
  SpanNs limit_to_all = 0;
  SpanNs limit_unpaused = 0;  // by the rhythms that never paused; 0: there was none
  bool dependable = false;    // proven so already when it fell silent; else its later life must prove it
};

/// What is known of one trouble code of a party.
struct DtcTrack {
  static constexpr std::size_t kMaxTimes = 16;
  Dtc dtc;
  Mark first_active, last_active;
  std::optional<Mark> cleared;
  unsigned activations = 0;
  std::vector<Mark> times;  // of the activations, at most kMaxTimes
  bool active = false;
  bool from_dm2_only = false;
  std::optional<Address> clear_requested_by;
};

struct Identity {
  std::vector<std::string> software;
  std::optional<Mark> software_reported;
  std::vector<std::string> software_before;  // another text was reported earlier
  std::optional<Mark> software_before_reported;
  std::optional<EcuIdentification> ecu;
  std::optional<ProductIdentification> product;
  std::optional<ComponentIdentification> component;
  std::vector<Functionality> functionalities;
  bool answered_empty = false;
  std::optional<Mark> asked;            // software identification requested from it
  std::optional<std::uint8_t> refusal;  // control byte of the acknowledgement (1 NACK, 2 denied, 3 busy)
  std::optional<Mark> broken_off;       // its answer was a transfer that failed
};

/// The supply voltage that a party tells (PGN 65271, SPN 168), in units of 0.05 V.
struct SupplyTrack {
  std::uint64_t count = 0;
  std::uint32_t least = 0, most = 0, latest = 0;
  Mark least_at, latest_at;
  std::optional<std::size_t> low;  // index of its open spell
  /// Since when it tells less than the highest of the others at the same time, and the longest such time.
  std::optional<Mark> differs_since;
  Mark differs_from, differs_until;
  std::uint32_t differs_most = 0;  // within it
  const Party* differs_from_whom = nullptr;
  StepSeries told;  // raw values over the whole recording
};

struct Party {
  static constexpr std::size_t kMaxRestartTimes = 64;

  ControllerId controller = kNobody;  // nobody: talks without a claim
  BusIndex bus = 0;
  Address address = kNullAddress;  // where it was heard last
  Mark first, last;
  std::uint64_t frames = 0;
  std::optional<Mark> known_before;  // a slice says that it was here before, and heard then
  bool began_with_claim = false;     // .. and its first frame here was the claim of a start
  bool began_claim_to_weigh = false; // .. or an answer to a request, perhaps its own
  SpanNs known_pause = -1;           // .. and its longest pause until then; -1: it did not talk all the time
  bool attention = false;    // silent, returning or left behind: the next frame takes the slow path
  bool left_behind = false;  // unclaimed, at an address whose owner moved away or lost it
  bool silent = false;
  bool returning = false;  // heard again, not yet sure that it is back
  Mark returned;           // first frame after the silence
  bool returned_with_claim = false;
  bool claim_to_weigh = false;   // its first frame was a claim that somebody had asked for
  SilenceRecord silence;         // while silent or returning
  std::vector<Stream*> streams;  // at the address it holds now
  struct Retired {
    Pgn pgn;
    Address destination;
    Pace pace;
    TimeNs steady_since;
    std::uint32_t repeats;
  };
  std::vector<Retired> retired;  // paces of its streams at an address that it left
  Identity identity;
  std::vector<DtcTrack> dtcs;
  Lamps lamps;
  std::uint64_t dtcs_over_cap = 0;
  std::optional<Mark> farewell;  // heartbeat 255
  unsigned doubtful_silences = 0;
  unsigned restarts = 0;  // unprompted claims without a silence before
  std::optional<Mark> last_restart;
  std::vector<Mark> restart_times;  // the first kMaxRestartTimes of them
  SupplyTrack supply;
};

}  // namespace tramlog
