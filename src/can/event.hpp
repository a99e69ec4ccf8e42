// One thing that a source of frames has to say: a frame, an error frame, or a notice about the capture itself.
// The core sees nothing else, so a wire and a file look alike.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>

#include "base/time.hpp"

namespace tramlog {

/// Number of a bus within one run, given by the source in the order of first sight; its name comes in a BusInfo.
using BusIndex = std::uint16_t;

/// A bus (an interface of the capture) is announced before its first frame. The same name in a later section or
/// file is the same bus.
struct BusInfo {
  std::string name;           // "can0"; "bus0", "bus1", .. where the capture gives no name
  std::uint64_t bitrate = 0;  // bit/s, 0 = not told
};

/// Interface statistics as the kernel counted them since the start of the capture (fact sheet 8.5, ISB).
struct Counters {
  std::optional<std::uint64_t> received;           // isb_ifrecv, frames
  std::optional<std::uint64_t> interface_dropped;  // isb_ifdrop, frames
  std::optional<std::uint64_t> system_dropped;     // isb_osdrop, frames
};

/// What the recorder said about its own hearing (ISB with our local option, see io/pcapng_format.hpp).
enum class LinkState : std::uint8_t { down = 0, up = 1, paused = 2 };
struct LinkChange {
  LinkState state = LinkState::up;
};

/// The recorder lost this many frames between the previous packet of this bus and the next (epb_dropcount).
struct FramesLost {
  std::uint64_t frames = 0;
};

/// Bytes of the capture that could not be read; reading went on behind them.
struct Damage {
  enum class Kind : std::uint8_t {
    unreadable,
    breaks_off,  // and nothing readable comes behind: the recording ends here, whatever came after
    doubtful,    // everything was read, but the checksum says that some of it is wrong; 0 bytes
    stamp,       // a single time stamp was wrong and was put right; 0 bytes
  };
  std::uint64_t offset = 0;  // in the uncompressed file
  std::uint64_t bytes = 0;   // skipped
  std::string reason;        // a sentence part: "block lengths differ"
  std::uint32_t file = 0;    // index of the file, 0-based
  Kind kind = Kind::unreadable;
};

/// What the recorder itself had to say at this moment (our own block, io/pcapng_format.hpp).
struct RecorderNote {
  enum class Kind : std::uint8_t {
    run_begins = 1,     // number: of the run; boot; span: time stamps minus the system's clock; text: why, if not 0
    run_ends = 2,       // in good order
    mark = 3,           // text: the technician's own words
    clock_stepped = 4,  // span: by how much the system's clock stepped; the time stamps did not follow
    not_recorded = 5,   // number: frames and notices that found no room in memory while the disk failed; text: why
    disk = 6,           // text: what happened to the disk, or that it is well again
    interface = 7,      // text: what became of an interface or its settings
    cut = 8,            // text: of which recording this is a slice. boot 1: a part of it begins; number: of chosen controllers, 0: everybody;
                        // data: who they are, 9 bytes each: "N" and the NAME, or "A", address and zeros. "P" and zeros: identity and serial numbers are stand-ins
    known = 9,          // of_bus; heard before a slice begins: number: PGN, data: the message, address: who said it; span: so long ago.
                        // First PGN 60928 (behind the NAME, 8 bytes: its longest pause so far, in ns, if it talked all the time; no data: it told no NAME; its span: of the unit's last frame; the null address: it could not claim one), then the unit's other
                        // messages. PGN 51968: a part of a client's object pool, behind all units (implement/pool_parts.hpp). kNoPgn: statistics blocks come every `span`
    lost = 10,          // number: bytes of the damaged capture that could not be read here; span: up to what came next, 0 = nothing
                        // did; text: why; boot: Damage::Kind. Written by mending, not by the recorder
  };
  Kind kind = Kind::mark;
  bool of_bus = false;       // it is about the event's bus; else about the recorder as a whole
  std::uint64_t number = 0;
  std::uint64_t boot = 0;    // counted by the recorder, 1 = the first it saw; 0: not told
  SpanNs span = 0;
  std::string text;          // UTF-8
  std::uint8_t address = 0;  // known
  std::string data;          // known, cut: bytes, at most kMostData
  static constexpr std::size_t kMostData = 2000;
  static constexpr std::uint64_t kNoPgn = 0x40000;
};

/// Of a note of kind `lost`; one that this version does not know is the plain kind.
inline Damage::Kind lost_kind(const RecorderNote& note) {
  return note.boot <= static_cast<std::uint64_t>(Damage::Kind::stamp) ? static_cast<Damage::Kind>(note.boot)
                                                                     : Damage::Kind::unreadable;
}
/// Whether something that was on the bus is missing there.
inline bool is_loss(Damage::Kind kind) {
  return kind == Damage::Kind::unreadable || kind == Damage::Kind::breaks_off;
}

using Notice = std::variant<BusInfo, Counters, LinkChange, FramesLost, Damage, RecorderNote>;

enum class EventKind : std::uint8_t {
  frame,    // data or remote frame
  error,    // error frame: id = class mask, data = 8 bytes (fact sheet 8.3)
  foreign,  // a packet that is no CAN frame we can read: CAN XL, shorter than its header, other link type
  notice,
};

enum FrameFlags : std::uint8_t {
  kExtendedId = 0x01,   // 29-bit identifier
  kRemote = 0x02,       // remote frame: len is its DLC, no data was on the wire
  kFd = 0x04,           // CAN FD
  kBitRateSwitch = 0x08,
  kErrorState = 0x10,   // ESI
  kOutbound = 0x20,     // sent by the recording machine
  kShortData = 0x40,    // the capture holds fewer payload bytes than the length field says; len = what is there
  kUntimed = 0x80,      // the capture gives no time for it (simple packet block); time = that of its predecessor
};

struct Event {
  TimeNs time = 0;
  std::uint64_t number = 0;            // packet in the capture, counted from 1 over all files; 0 for a notice
  const std::uint8_t* data = nullptr;  // payload of a frame, `len` bytes; valid until the source is read again
  const Notice* notice = nullptr;      // kind notice only; valid until the source is read again
  std::uint32_t id = 0;                // identifier without flag bits
  BusIndex bus = 0;
  std::uint8_t len = 0;                // payload bytes, 0..64
  EventKind kind = EventKind::frame;
  std::uint8_t flags = 0;              // FrameFlags

  /// Whether `time` was stamped: where a bus begins, what was lost and what is damaged take it from their neighbours.
  bool is_timed() const {
    return kind != EventKind::notice || std::holds_alternative<Counters>(*notice) || std::holds_alternative<LinkChange>(*notice) ||
           std::holds_alternative<RecorderNote>(*notice);
  }
  bool is_iso11783() const {
    return kind == EventKind::frame && (flags & (kExtendedId | kRemote | kFd)) == kExtendedId;
  }
};

}  // namespace tramlog
