// From events to messages in words and units, in the order of the bus: who said what to whom. Takes events as
// the examiner does, asks no clock, and hands on only what the filter wants.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/time_bound.hpp"
#include "can/event.hpp"
#include "decode/teller.hpp"
#include "exam/roster.hpp"
#include "isobus/message.hpp"
#include "isobus/name.hpp"
#include "isobus/transfers.hpp"
#include "schema/schema.hpp"

namespace tramlog {

/// What to narrow the decoding to; everything that is given must hold. Controllers are known from the whole
/// capture so far, so the filter never makes a name unknown.
/// Names and globs do not mind upper and lower case.
struct DecodeFilter {
  std::optional<TimeBound> from, to;  // inclusive
  std::vector<std::string> buses;     // names or globs; any of them
  std::vector<std::string>
      controllers;  // sender: roster label (glob), NAME in hex, address ("0x80", "128"), or term (glob)
  std::vector<std::string> messages;  // name (glob) or PGN ("65096", "0xFE48")
  std::vector<std::string> signals;   // name or Message.Signal (glob), "spn:190" or "ddi:7"
  bool only_changes = false;  // leave out a message whose readings (of the wanted signals) are what they were
  bool transport_frames = false;  // also tell the single frames of transfers (TP, ETP, fast packet)
};

/// Who talks: one (bus, address) at a time.
struct Speaker {
  BusIndex bus = 0;
  Address address = 0;
  std::optional<Name> name;  // of the latest claim, if any
  std::string words;         // roster label, else the function's term, else "unclaimed"; "all" for the global
                             // address, "no address" for the null address; "" with an 11-bit identifier
};

/// What stays the same from message to message of one (bus, identifier), or for transfers of one (bus, PGN,
/// source, destination). Owned by the Interpreter.
struct Talk {
  std::uint32_t slot = 0;        // dense number: sinks keep their own things in a vector by it
  std::uint32_t generation = 0;  // grows when `from`, `to` change
  Pgn pgn = 0;
  std::uint32_t id = 0;  // identifier; of a transfer: the one that a single frame would have
  bool extended = true;
  bool piece = false;  // single frames of transfers (DecodeFilter::transport_frames)
  Speaker from, to;
  const MessageSpec* spec = nullptr;  // null: not in the schema
};

struct DecodedMessage {
  const Talk* talk = nullptr;
  TimeNs start = 0;               // first frame
  TimeNs time = 0;                // last frame
  std::uint64_t first_frame = 0;  // 1-based numbers in the capture; equal for a single frame
  std::uint64_t last_frame = 0;
  std::uint8_t priority = 0;
  std::uint8_t flags = 0;  // FrameFlags of a single frame
  bool stray = false;      // a packet or a control frame that belongs to no transfer that was heard
  Carrier carrier = Carrier::single;
  Bytes data;                         // none in a remote frame (kRemote)
  std::span<const Reading> readings;  // wanted ones, as far as present; cut_off behind the end of `data`
  std::span<const Remark> remarks;
};

class DecodeSink {
 public:
  virtual ~DecodeSink() = default;
  virtual void on_message(const DecodedMessage& message) = 0;
  /// A transfer that the filter wants did not become a message. Told when that is certain, at `now`; what it
  /// was about is in `talk`.
  virtual void on_broken_transfer(const TransferEnd& end, const Talk& talk, TimeNs now) {
    (void)end, (void)talk, (void)now;
  }
  /// Error frames, foreign packets (EventKind::foreign), and notices (statistics, link changes, losses,
  /// damage); not called if the filter names controllers, messages or signals.
  virtual void on_event(const Event& event) = 0;
  /// The bus told which units it wants (language command), or a bus was announced. Called whatever the filter
  /// says.
  virtual void on_bus(const Event& announcement) { (void)announcement; }
};

/// What could not be told, for a note to the user.
struct DecodeLosses {
  std::uint64_t foreign = 0;            // packets that are no CAN frames we can read
  std::uint64_t short_frames = 0;       // frames of which the capture holds only the beginning
  std::uint64_t long_messages = 0;      // transfers of more bytes than TransferLimits allow
  std::uint64_t given_up_sessions = 0;  // transfers given up because too many ran at once
  std::uint64_t told = 0;               // messages, broken transfers and events that were handed on
  std::uint64_t beyond_cap = 0;         // messages of more streams than kMaxTalks; told, but `only_changes`
                                        // leaves none of them out
};

class Interpreter {
 public:
  static constexpr std::size_t kMaxTalks = 65'536;

  /// `schema` and `sink` must outlive it. Fails (usage) if the filter names a message or signal that the
  /// schema does not know, or something that is no number, name or glob: the error says which and offers
  /// close names.
  static Result<std::unique_ptr<Interpreter>> make(const Schema& schema, const DecodeFilter& filter,
                                                   std::optional<Roster> roster, DecodeSink& sink);
  virtual ~Interpreter() = default;

  virtual void take(std::span<const Event> events) = 0;
  /// No more events will come.
  virtual void finish() = 0;
  /// Events have come from behind `to` for so long that nothing of the wanted time is to be expected.
  virtual bool past_span() const = 0;
  virtual const DecodeLosses& losses() const = 0;
};

}  // namespace tramlog
