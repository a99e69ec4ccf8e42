// A whole message: one frame, or what a transfer put together.
#pragma once

#include "base/bytes.hpp"
#include "base/time.hpp"
#include "can/can_id.hpp"
#include "can/event.hpp"

namespace tramlog {

enum class Carrier : std::uint8_t { single, bam, rts_cts, etp, fast_packet };

struct Message {
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0;
  Address destination = kGlobalAddress;
  Carrier carrier = Carrier::single;
  TimeNs start = 0;               // first frame (RTS, BAM, first packet)
  TimeNs end = 0;                 // last data frame
  std::uint64_t first_frame = 0;  // 1-based numbers in the capture
  std::uint64_t last_frame = 0;
  Bytes data;                     // valid only during the call that hands it over
};

/// A frame that is a message of its own.
inline Message single_frame(const Event& frame) {
  Message message;
  message.bus = frame.bus;
  message.pgn = pgn_of(frame.id);
  message.source = source_of(frame.id);
  message.destination = destination_of(frame.id);
  message.start = message.end = frame.time;
  message.first_frame = message.last_frame = frame.number;
  message.data = Bytes(frame.data, frame.len);
  return message;
}

}  // namespace tramlog
