// Which frames a message came in, and which bytes of it each frame carried: what Transfers does not tell.
// Bounded.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <vector>

#include "can/event.hpp"
#include "isobus/message.hpp"

namespace tramlog {

struct TrailPacket {
  std::uint64_t frame = 0;
  std::uint32_t offset = 0;  // of its first byte in the message
  std::uint8_t skip = 1;     // bytes of the frame before it
  std::uint8_t len = 0;      // of the frame
  std::array<std::uint8_t, 8> payload{};
};

class PacketTrail {
 public:
  static constexpr std::size_t kMaxKeys = 4096;
  static constexpr std::size_t kMaxPackets = 40'000;  // of one message: beyond Transfers' cap

  /// A frame of a transport PGN, or `fast`: of one that travels as fast packet. Before Transfers gets it.
  void take(const Event& frame, bool fast);
  /// Packets of a message that Transfers just handed over; they are forgotten.
  std::vector<TrailPacket> packets_of(const Message& message);

 private:
  struct Line {
    std::vector<TrailPacket> packets;
    std::uint32_t window = 0;  // ETP: packets before the announced ones
  };
  static std::uint64_t key_of(Carrier carrier, BusIndex bus, Address source, Address destination, Pgn pgn,
                              unsigned sequence);
  Line& line(std::uint64_t key);
  void add(Line& line, const Event& frame, std::uint64_t offset, std::uint8_t skip);

  std::map<std::uint64_t, Line> lines_;
};

}  // namespace tramlog
