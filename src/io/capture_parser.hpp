// What the parsers of both capture formats share: their window, the count of what they read, and damage.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "io/block_sink.hpp"
#include "io/bus_table.hpp"
#include "io/byte_window.hpp"
#include "io/event_batch.hpp"
#include "io/fingerprint.hpp"

namespace tramlog {

/// Counted over one file.
struct ReadTally {
  std::uint64_t packets = 0;  // frames and error frames
  std::uint64_t foreign = 0;
  std::uint64_t damaged_bytes = 0;
  bool read_error = false;  // a gap of the source
  Fingerprint fingerprint;
};

class CaptureParser {
 public:
  const ReadTally& tally() const { return tally_; }
  /// An interface of link type 227 was described or taken for granted.
  bool has_can() const { return has_can_; }
  /// Link type of the first interface that is none of ours.
  std::optional<std::uint16_t> other_link_type() const { return other_link_type_; }
  /// To be called before the first fill(); the sink must outlive the parser.
  void hand_blocks_to(BlockSink& sink) { sink_ = &sink; }

 protected:
  enum class Need { ready, deliver, ended };
  enum class Step { again, deliver, finished };

  /// `file` goes into Damage notices; `start` is the time of notices that come before the first packet.
  CaptureParser(ByteWindow& window, BusTable& buses, std::uint32_t file, TimeNs start)
      : window_(window), buses_(buses), file_(file), last_time_(start) {}

  /// Sees to it that so many bytes are there. `deliver`: the batch points into the window and must go first.
  /// `ended`: so many do not come any more.
  Need need(const EventBatch& batch, std::size_t bytes) {
    if (window_.available() >= bytes) return Need::ready;
    if (window_.tail() != ByteWindow::Tail::open) return Need::ended;
    if (!batch.empty()) return Need::deliver;
    window_.refill(bytes);
    return window_.available() >= bytes ? Need::ready : Need::ended;
  }

  void count(const Event& event);

  /// The bytes from here on make no sense for the stated reason; says so once the search for the next good
  /// place is over.
  void begin_damage(std::string reason);
  bool in_damage() const { return damage_active_; }
  /// Reading goes on at the window's place, or (`ended`) nothing comes any more.
  void end_damage(EventBatch& batch, bool ended = false);
  /// Tells of damage that lies inside one block, whose end is sure.
  void tell_damage(EventBatch& batch, std::uint64_t offset, std::uint64_t bytes, std::string reason,
                   Damage::Kind kind = Damage::Kind::unreadable);
  /// Everything before a gap is used up: damage starts, or goes on behind the gap. False if nothing comes any
  /// more.
  bool go_past_tail();

  ByteWindow& window_;
  BusTable& buses_;
  std::uint32_t file_;
  BlockSink* sink_ = nullptr;
  TimeNs last_time_;
  ReadTally tally_;
  bool has_can_ = false;
  std::optional<std::uint16_t> other_link_type_;
  bool after_gap_ = false;    // the damage holds a gap: anything may be lost
  bool ends_inside_ = false;  // the damage is a block that runs over the end of the data
  std::string damage_reason_;

 private:
  bool damage_active_ = false;
  std::uint64_t damage_offset_ = 0;
  std::uint64_t damage_file_bytes_ = 0;
  bool damage_is_doubt_ = false;  // nothing but a checksum that does not hold
};

}  // namespace tramlog
