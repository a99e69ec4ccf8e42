// pcapng blocks become events, in place (fact sheet 8.5).
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "io/capture_parser.hpp"
#include "io/pcapng_scan.hpp"
#include "io/tick_scale.hpp"

namespace tramlog {

class PcapngParser : public CaptureParser {
 public:
  static constexpr std::size_t kMostInterfaces = 4096;  // of one section

  PcapngParser(ByteWindow& window, BusTable& buses, std::uint32_t file, TimeNs start)
      : CaptureParser(window, buses, file, start) {}

  /// Adds events to the empty batch; false at the end of the file (the batch may hold the last ones).
  bool fill(EventBatch& batch);

  /// Every time stamp is taken as it stands, and no block waits for those behind it: for what is still being
  /// written, whose stamps the writer itself keeps in order.
  void believe_stamps() { believes_stamps_ = true; }

 private:
  struct Interface {
    TickScale scale;
    std::uint32_t snap = 0;  // 0 = no limit
    BusIndex bus = 0;
    bool can = false;
    InterfaceWords words;
  };
  /// A packet block of any kind, taken apart.
  struct Packet {
    std::uint32_t interface = 0;
    const std::uint8_t* data = nullptr;
    std::uint32_t stored = 0;
    std::uint32_t original = 0;
    std::optional<std::uint64_t> ticks;
    std::uint64_t dropped = 0;
    bool outbound = false;
  };

  /// When a block says it was, and whose packet it is.
  struct Stamp {
    TimeNs time = 0;
    std::uint32_t interface = 0;  // kNoInterface: no packet
  };

  template <bool kSwapped>
  void run_enhanced(EventBatch& batch);
  Step one_block(EventBatch& batch);
  Step section(EventBatch& batch);
  std::optional<Stamp> stamp_of(const std::uint8_t* block, std::size_t length) const;
  /// Whether the stamp of the block at the window's place is to be believed, before it is handled; false if the
  /// batch must go first.
  bool settle_stamp(const EventBatch& batch, std::size_t length);
  /// The time of the present block, put right if need be.
  TimeNs settled(TimeNs stamp);
  Step search(EventBatch& batch);
  void handle(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void interface_block(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void rescue_interface(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void no_interface(EventBatch& batch, std::size_t length, const char* reason);
  void statistics_block(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void note_block(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void enhanced_packet(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void obsolete_packet(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void simple_packet(EventBatch& batch, const std::uint8_t* block, std::size_t length);
  void packet(EventBatch& batch, const Packet& packet, std::size_t length);
  bool packet_options(Packet& packet, const std::uint8_t* at, const std::uint8_t* end) const;

  Interface* interface_of(EventBatch& batch, std::uint32_t index);
  /// `block` holds it as it stands in the file; empty if it was assumed or rescued.
  void add_interface(EventBatch& batch, InterfaceWords words, Bytes block);
  void hand_on_frames(const std::uint8_t* first, std::span<const Event> frames);
  void hand_on(const std::uint8_t* block, std::size_t length, std::uint64_t damaged_before, bool mended);
  void damaged_options(EventBatch& batch, std::size_t bytes, std::size_t options_at, const char* reason);
  void assume_interface(EventBatch& batch);
  void start_section(EventBatch& batch, Bytes header);
  void note_lost(EventBatch& batch, const std::uint8_t* at, std::size_t bytes);

  std::uint16_t load16(const std::uint8_t* at) const { return pcapng::load16(at, swapped_); }
  std::uint32_t load32(const std::uint8_t* at) const { return pcapng::load32(at, swapped_); }
  std::uint64_t load64(const std::uint8_t* at) const { return pcapng::load64(at, swapped_); }

  std::vector<Interface> interfaces_;
  std::vector<Interface> previous_;  // of the section before this one, for when descriptions are lost
  bool swapped_ = false;
  bool order_known_ = false;
  bool interface_may_be_lost_ = false;
  std::uint64_t section_packets_ = 0;
  std::size_t search_first_ = 0;
  unsigned lost_interfaces_ = 0;
  bool described_ahead_ = false;     // interface blocks of this section are passed over
  bool believes_stamps_ = false;
  std::uint32_t last_interface_ = 0;  // of a packet
  std::optional<TimeNs> put_right_;   // the time of the present block, if its stamp is wrong
  std::uint64_t stamps_put_right_ = 0;
  std::size_t broken_options_ = 0;   // of the present block: where options start of which not all hold; 0 = none
};

}  // namespace tramlog
