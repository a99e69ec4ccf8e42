// Everything readable of a damaged capture, as a valid one.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"
#include "can/event.hpp"

namespace tramlog {

/// Bytes that could not be read, or (0 bytes) something that had to be guessed.
struct LostPart {
  std::uint64_t offset = 0;  // in the uncompressed file
  std::uint64_t bytes = 0;
  std::string reason;  // a sentence part
  Damage::Kind kind = Damage::Kind::unreadable;
  std::optional<TimeNs> after;   // what was readable before it; none: nothing
  std::optional<TimeNs> before;  // what was readable behind it; none: nothing
};

/// A block out of time order.
struct MovedBlock {
  TimeNs time = 0;
  bool moved = false;             // false: left where it stood, because where it belongs is not sure
  std::optional<TimeNs> instead;  // it stood right, and its time stamp was put right
};

/// A part of the file.
struct FilePart {
  TimeNs first = 0, last = 0;
};

struct Mended {
  static constexpr std::size_t kMostListed = 1000;  // of each list

  std::uint64_t packets = 0;  // written
  std::uint64_t other = 0;    // statistics, notes and all other blocks but headers, written
  std::uint64_t lost_bytes = 0;
  std::uint64_t losses = 0;
  std::vector<LostPart> lost;
  std::uint64_t moved = 0;
  std::uint64_t left = 0;    // out of time order, and left
  std::uint64_t stamps = 0;  // single time stamps far from those around them, put right
  std::vector<MovedBlock> out_of_order;
  struct Step {
    TimeNs before = 0, after = 0;
  };
  std::vector<Step> steps;  // of the clock, backwards; left alone
  std::vector<FilePart>
      sorted;               // of a file whose parts stood in the wrong order, as they are written; else empty
  bool crowded = false;     // so much is out of order that nothing was moved
  std::uint64_t bytes = 0;  // of the mended capture before compression
};

/// Reads `damaged` (plain or Zstandard, pcapng or classic pcap of link type 227) up to four times, or some
/// more if its parts stand in the wrong order (PieceOrder::kMostTurns), and writes `mended`, always pcapng,
/// compressed if its name ends in ".zst"; it is put in its place when it is whole.
///
/// Whole blocks are copied byte for byte, whatever they hold; but a single time stamp that lies far from
/// those around it (more than kFarOff), while these agree with each other, is put right: by the bit that was
/// flipped, else as that of the block before. A clock that stepped takes all later blocks with it and is left
/// alone. A block that is damaged beyond doubt only in its frame (second length, type of an interface
/// description) or in its options is put right. Where something is lost, a recorder's note of kind `lost` is
/// written, so that whoever examines the mended capture knows when nothing could be heard. Descriptions of
/// interfaces that are lost are written as they had to be assumed.
///
/// Errors: input (cannot be read, no capture), usage (a pipe; `mended` is `damaged`), environment.
Result<Mended> mend_capture(const std::string& damaged, const std::string& mended);

}  // namespace tramlog
