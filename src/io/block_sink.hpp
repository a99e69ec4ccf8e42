// Who wants the blocks of a capture themselves, as they stand in the file, beside the events that they
// become.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "can/event.hpp"

namespace tramlog {

/// What an interface block says, or what had to be assumed because it is lost.
struct InterfaceWords {
  std::uint16_t link_type = 227;
  std::uint32_t snap = 0;       // bytes, 0 = no limit
  std::string name;             // empty: none given
  std::uint64_t bitrate = 0;    // bit/s, 0 = not told
  std::uint8_t resolution = 9;  // as in if_tsresol
  std::int64_t offset_s = 0;    // as in if_tsoffset
};

/// A record of classic pcap.
struct PcapRecordWords {
  std::uint32_t seconds = 0, fraction = 0, original = 0;
  Bytes packet;
};

/// Is called in the order of the file, while the parser works: what is pointed to is valid during the call.
/// Only what is readable comes; a block whose frame was damaged but beyond doubt comes put right. `swapped`
/// tells the byte order against this machine's.
class BlockSink {
 public:
  virtual ~BlockSink() = default;
  /// A section begins; `header` is empty if its header is lost.
  virtual void section(Bytes header, bool swapped) = 0;
  /// `block` is empty if the words were assumed or rescued out of a damaged block.
  virtual void interface(Bytes block, const InterfaceWords& words, bool swapped) = 0;
  /// Any other whole block. `time`: of packets, statistics and recorder's notes.
  virtual void block(Bytes block, std::optional<TimeNs> time, bool swapped) = 0;
  /// Of a capture in classic pcap; an interface came before.
  virtual void record(const PcapRecordWords& record, TimeNs time) = 0;
  /// Here bytes could not be read (or, 0 bytes, something had to be guessed).
  virtual void damage(const Damage& damage) = 0;
  /// A block was left out because nothing told of its interface.
  virtual void undescribed() {}
  /// Interfaces of the section that begins now which are known to be described, but too late or out of place:
  /// then these count, and interface blocks within the section are passed over. Empty: as the file says.
  virtual std::vector<InterfaceWords> described_ahead() { return {}; }
};

}  // namespace tramlog
