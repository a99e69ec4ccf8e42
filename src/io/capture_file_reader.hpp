// One open capture: window, parser and the batch they fill.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <variant>

#include "io/bus_table.hpp"
#include "io/byte_window.hpp"
#include "io/event_batch.hpp"
#include "io/pcap_parser.hpp"
#include "io/pcapng_parser.hpp"

namespace tramlog {

enum class CaptureFormat { pcapng, pcap };

class CaptureFileReader {
 public:
  /// `window` stands at the start of the capture. `file` is the index for Damage notices, `start` the time of
  /// notices before the first packet. `buses` must outlive the reader.
  CaptureFileReader(std::unique_ptr<ByteWindow> window, CaptureFormat format, BusTable& buses,
                    std::uint32_t file, TimeNs start);

  /// The next events in the order of the file, valid until the next call; empty at the end. Packets are
  /// numbered from `next_number`.
  std::span<const Event> read(std::uint64_t next_number);

  /// Gets the blocks beside the events; before the first read(). The sink must outlive the reader.
  void hand_blocks_to(BlockSink& sink) { common_->hand_blocks_to(sink); }

  /// What is read is still being written (PcapngParser::believe_stamps()).
  void believe_stamps() {
    if (pcapng_) pcapng_->believe_stamps();
  }

  bool ended() const { return ended_; }
  const CaptureParser& parser() const { return *common_; }

 private:
  std::unique_ptr<ByteWindow> window_;
  EventBatch batch_;
  std::optional<PcapngParser> pcapng_;
  std::optional<PcapParser> pcap_;
  CaptureParser* common_;
  bool ended_ = false;
};

}  // namespace tramlog
