#include "parcel/private_frames.hpp"

#include <algorithm>
#include <iterator>

namespace tramlog {
namespace {

constexpr Pgn kTpControl = 0xEC00;
constexpr std::uint8_t kReserved = 0xFF;
constexpr std::size_t kPgnAt = 5, kControlBytes = 8;

/// Bytes behind the control byte that are defined; the next to the PGN (bytes 6 to 8) are reserved.
struct Control {
  std::uint8_t code;
  std::size_t defined;
};
constexpr Control kTpControls[] = {
    {16, 4},   // request to send: bytes, packets, packets at once
    {17, 2},   // clear to send: packets, next
    {19, 3},   // end of message: bytes, packets
    {32, 3},   // broadcast: bytes, packets
    {255, 1},  // abort: reason
};
constexpr Control kEtpControls[] = {
    {20, 4},   // request to send: bytes
    {21, 4},   // clear to send: packets, next
    {22, 4},   // data packet offset: packets, offset
    {23, 4},   // end of message: bytes
    {255, 1},  // abort: reason
};

void fill(std::span<std::uint8_t> data, std::size_t from, std::size_t to, std::uint8_t with) {
  for (std::size_t i = from; i < std::min(to, data.size()); ++i) data[i] = with;
}

// Class mask: which byte explains it.
constexpr std::uint32_t kLostArbitration = 0x002, kController = 0x004, kProtocol = 0x008,
                        kTransceiver = 0x010;
constexpr std::size_t kArbitrationAt = 0, kControllerAt = 1, kProtocolAt = 2, kLocationAt = 3,
                      kTransceiverAt = 4, kReservedAt = 5, kCountersEnd = 8;
constexpr std::uint8_t kMostLocation = 0x1F, kMostArbitrationBit = 0x3F;
constexpr std::uint8_t kTransceiverCodes[] = {0x00, 0x04, 0x05, 0x06, 0x07, 0x40, 0x50, 0x60, 0x70, 0x80};

}  // namespace

void blank_undefined_control(Pgn pgn, std::span<std::uint8_t> data) {
  if (data.empty()) return;
  const std::span<const Control> controls =
      pgn == kTpControl ? std::span<const Control>(kTpControls) : std::span<const Control>(kEtpControls);
  const auto known =
      std::find_if(controls.begin(), controls.end(), [&](const Control& c) { return c.code == data[0]; });
  if (known == controls.end()) return fill(data, 1, data.size(), kReserved);
  fill(data, 1 + known->defined, kPgnAt, kReserved);
  fill(data, kControlBytes, data.size(), kReserved);
}

void blank_undefined_errors(std::uint32_t mask, std::span<std::uint8_t> data) {
  const auto keep_if = [&](bool defined, std::size_t at) {
    if (!defined) fill(data, at, at + 1, 0);
  };
  const auto byte = [&](std::size_t at) { return at < data.size() ? data[at] : std::uint8_t{0}; };
  keep_if((mask & kLostArbitration) != 0 && byte(kArbitrationAt) <= kMostArbitrationBit, kArbitrationAt);
  keep_if((mask & kController) != 0 && byte(kControllerAt) < 0x80, kControllerAt);
  keep_if((mask & kProtocol) != 0, kProtocolAt);
  keep_if((mask & kProtocol) != 0 && byte(kLocationAt) <= kMostLocation, kLocationAt);
  keep_if((mask & kTransceiver) != 0 && std::find(std::begin(kTransceiverCodes), std::end(kTransceiverCodes),
                                                  byte(kTransceiverAt)) != std::end(kTransceiverCodes),
          kTransceiverAt);
  keep_if(false, kReservedAt);
  fill(data, kCountersEnd, data.size(), 0);
}

}  // namespace tramlog
