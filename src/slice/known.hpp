// What is known of everybody on the buses at a moment of a capture, as notes for a slice that begins there.
#pragma once

#include <array>
#include <map>
#include <memory>
#include <vector>

#include "can/event.hpp"
#include "implement/implement_watch.hpp"
#include "implement/pool_parts.hpp"
#include "isobus/network.hpp"
#include "isobus/transfers.hpp"

namespace tramlog {

class Known final : public NetworkSink, public TransferSink {
 public:
  Known();

  /// Frames in the order of the capture, also those that are left out; notes of an earlier cut, too.
  void take(const Event& event);

  struct Note {
    BusIndex bus = 0;
    RecorderNote note;
  };
  /// By bus and address; of each controller its NAME first, with its longest pause if it talked all the time,
  /// its key is on and its bus lives (can/event.hpp, RecorderNote::Kind::known).
  std::vector<Note> notes(TimeNs at) const;
  /// Device descriptions that were uploaded so far; of each client only what differs from the last call.
  std::vector<Note> pool_notes();

  /// Statistics of this bus come at a pace, and none came for longer than that, nor was it heard since
  /// `heard`: the recorder stood still.
  bool stood_still(BusIndex bus, TimeNs heard, TimeNs at) const;

  const Network& network() const { return network_; }

 private:
  struct Voice {
    TimeNs first = 0, last = 0;
    SpanNs longest_gap = 0;
    std::uint64_t frames = 0;
  };
  struct Said {
    TimeNs time = 0;
    std::string data;
  };
  struct Unit {
    Voice voice;
    std::map<Pgn, Said> said;
    std::vector<Said> members;  // of its working set, since the latest master message
  };
  void on_message(const Message& message) override;
  void on_transfer_end(const TransferEnd& end) override { implements_.take_failed_transfer(end); }
  void on_claim(const Claim& claim) override;
  void on_owner(BusIndex bus, Address address, ControllerId from, ControllerId to, TimeNs time) override;
  static void note_said(Unit& unit, Pgn pgn, Bytes data, TimeNs time);
  Unit& unit_of(BusIndex bus, Address address);
  Unit& unit_of(ControllerId id);

  /// The recorder did not hear all, or everybody was asked to be quiet: who talks all the time must show it
  /// anew.
  void forget_talk(BusIndex bus, TimeNs time);

  struct Statistics {
    TimeNs last = 0;
    SpanNs period = 0;
    std::uint64_t count = 0, lost = 0;
  };

  struct Heard {
    TimeNs last = INT64_MIN;
    bool key_off = false;
  };

  std::map<BusIndex, Heard> heard_;
  Network network_;
  Transfers transfers_;
  ImplementWatch implements_;
  struct Carried {
    BusIndex bus = 0;
    Address address = kNullAddress;
    std::vector<std::uint8_t> bytes;
  };
  PoolParts pools_;  // of an earlier cut
  std::map<Name, Carried> carried_;
  std::map<std::pair<BusIndex, Name>, std::vector<std::uint8_t>> pools_told_;
  std::map<std::pair<BusIndex, Address>, Unit> voices_;  // that have no NAME yet
  std::map<BusIndex, Statistics> statistics_;
  std::vector<Unit> units_;      // by ControllerId
  ControllerId told_ = kNobody;  // whom the notes of an earlier cut speak of
};

}  // namespace tramlog
