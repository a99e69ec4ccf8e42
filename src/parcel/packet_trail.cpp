#include "parcel/packet_trail.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr Pgn kTpControl = 0xEC00, kTpData = 0xEB00, kEtpControl = 0xC800, kEtpData = 0xC700;
constexpr std::uint8_t kRequestToSend = 16, kBroadcast = 32, kLongRequestToSend = 20, kOffset = 22;
constexpr std::uint32_t kPacketBytes = 7, kFirstFastBytes = 6;

/// Transfers tells them apart by the kind of announcement; the frames that carry data do not.
Carrier line_kind(Carrier carrier) {
  return carrier == Carrier::bam ? Carrier::rts_cts : carrier;
}

}  // namespace

std::uint64_t PacketTrail::key_of(Carrier carrier, BusIndex bus, Address source, Address destination, Pgn pgn,
                                  unsigned sequence) {
  const bool fast = carrier == Carrier::fast_packet;
  return std::uint64_t{static_cast<std::uint8_t>(line_kind(carrier))} << 53 | std::uint64_t{bus} << 37 |
         std::uint64_t{source} << 29 | std::uint64_t{destination} << 21 |
         std::uint64_t{fast ? pgn : 0u} << 3 | (fast ? sequence : 0u);
}

PacketTrail::Line& PacketTrail::line(std::uint64_t key) {
  if (lines_.size() >= kMaxKeys && !lines_.contains(key))
    lines_.clear();  // hostile: their packets are blanked
  return lines_[key];
}

void PacketTrail::add(Line& line, const Event& frame, std::uint64_t offset, std::uint8_t skip) {
  if (line.packets.size() >= kMaxPackets) line.packets.clear();
  TrailPacket packet;
  packet.frame = frame.number;
  packet.offset = static_cast<std::uint32_t>(std::min<std::uint64_t>(offset, UINT32_MAX));
  packet.skip = skip;
  packet.len = std::min<std::uint8_t>(frame.len, 8);
  std::copy_n(frame.data, packet.len, packet.payload.begin());
  line.packets.push_back(packet);
}

void PacketTrail::take(const Event& frame, bool fast) {
  if (frame.len == 0) return;
  const Pgn pgn = pgn_of(frame.id);
  const Address source = source_of(frame.id), destination = destination_of(frame.id);
  const std::uint8_t first = frame.data[0];
  if (fast) {
    const unsigned index = first & 0x1F;
    Line& at = line(key_of(Carrier::fast_packet, frame.bus, source, destination, pgn, first >> 5));
    if (index == 0) at.packets.clear();
    const std::uint32_t offset = index == 0 ? 0 : kFirstFastBytes + (index - 1) * kPacketBytes;
    if (frame.len >= 2) add(at, frame, offset, index == 0 ? 2 : 1);
    return;
  }
  const bool is_long = pgn == kEtpControl || pgn == kEtpData;
  Line& at = line(key_of(is_long ? Carrier::etp : Carrier::rts_cts, frame.bus, source, destination, 0, 0));
  if (pgn == kTpControl && (first == kRequestToSend || first == kBroadcast)) at.packets.clear();
  if (pgn == kEtpControl && first == kLongRequestToSend) at = {};
  if (pgn == kEtpControl && first == kOffset && frame.len >= 5) at.window = load_le24(frame.data + 2);
  if ((pgn == kTpData || pgn == kEtpData) && first != 0)
    add(at, frame, (std::uint64_t{is_long ? at.window : 0} + first - 1) * kPacketBytes, 1);
}

std::vector<TrailPacket> PacketTrail::packets_of(const Message& message) {
  std::vector<TrailPacket> found;
  const auto collect = [&](std::uint64_t key) {
    const auto line = lines_.find(key);
    if (line == lines_.end()) return;
    std::erase_if(line->second.packets, [&](const TrailPacket& packet) {
      const bool ours = packet.frame >= message.first_frame && packet.frame <= message.last_frame;
      if (ours) found.push_back(packet);
      return ours;
    });
  };
  if (message.carrier != Carrier::fast_packet) {
    collect(key_of(message.carrier, message.bus, message.source, message.destination, 0, 0));
    return found;
  }
  for (unsigned sequence = 0; sequence < 8; ++sequence) {
    // Which of them it was is told by its last frame.
    const auto line = lines_.find(
        key_of(message.carrier, message.bus, message.source, message.destination, message.pgn, sequence));
    if (line == lines_.end() || line->second.packets.empty() ||
        line->second.packets.back().frame != message.last_frame)
      continue;
    collect(line->first);
  }
  return found;
}

}  // namespace tramlog
