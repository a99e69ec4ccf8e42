// Events as pcapng blocks of link type 227 with nanosecond time stamps, little-endian (fact sheet 8.5 to 8.7).
#pragma once

#include <cstdint>
#include <vector>

#include "can/event.hpp"

namespace tramlog {

/// Appends whole blocks to `out`, which must outlive it.
class BlockEncoder {
 public:
  /// No block is longer than this.
  static constexpr std::size_t kLongestBlock = 4096;

  explicit BlockEncoder(std::vector<std::uint8_t>& out) : out_(out) {}

  /// Section header: begins a file; interfaces are numbered anew.
  void section();
  /// Interface block; buses are numbered 0, 1, .. in the order of these calls.
  void bus(const BusInfo& bus);
  /// Enhanced packet block of a frame or error frame; flags as in Event (extended, remote, fd, outbound). Only
  /// outbound frames carry epb_flags: without it a frame was received. A remote frame carries its DLC and no
  /// payload. `lost_before` > 0 adds epb_dropcount.
  void frame(const Event& frame, std::uint64_t lost_before = 0);
  /// Interface statistics block.
  void counters(BusIndex bus, TimeNs time, const Counters& counters);
  /// Interface statistics block with the recorder's own link state (local option, see pcapng_format.hpp).
  void link(BusIndex bus, TimeNs time, LinkState state);
  /// Our own block; `bus` counts if the note is of a bus. Text is cut after 1,000 bytes.
  void note(BusIndex bus, TimeNs time, const RecorderNote& note);

 private:
  std::uint8_t* open(std::size_t most);
  void close(std::uint8_t* end);

  std::vector<std::uint8_t>& out_;
  std::size_t begin_ = 0;
};

}  // namespace tramlog
