// Classic pcap records become events, in place (fact sheet 8.8).
#pragma once

#include <cstddef>
#include <cstdint>

#include "io/capture_parser.hpp"
#include "io/tick_scale.hpp"

namespace tramlog {

/// The file header, 24 bytes.
struct PcapHeader {
  bool known = false;
  bool swapped = false;  // against this machine
  bool nanoseconds = false;
  bool repaired = false;  // one byte of the magic number is wrong
  std::uint16_t link_type = 0;

  static constexpr std::size_t kBytes = 24;
  /// `known` is false for anything else. `at` holds kBytes.
  static PcapHeader parse(const std::uint8_t* at);
};

class PcapParser : public CaptureParser {
 public:
  PcapParser(ByteWindow& window, BusTable& buses, std::uint32_t file, TimeNs start)
      : CaptureParser(window, buses, file, start) {}

  /// Adds events to the empty batch; false at the end of the file (the batch may hold the last ones).
  bool fill(EventBatch& batch);

 private:
  struct Record {
    std::uint32_t seconds = 0, fraction = 0, stored = 0, original = 0;
  };

  Step header(EventBatch& batch);
  Step record(EventBatch& batch);
  Step search(EventBatch& batch);
  Record load(const std::uint8_t* at) const;
  bool could_be(const Record& record) const;
  bool convincing(const std::uint8_t* at, std::size_t available, bool nothing_follows) const;
  void emit(EventBatch& batch, const Record& record, const std::uint8_t* packet);

  PcapHeader header_;
  bool has_header_ = false;
  TickScale fraction_scale_;
  BusIndex bus_ = 0;
  bool near_last(std::uint32_t seconds) const;
  bool confirmed(const Record& record, std::size_t bytes) const;
  static bool is_nothing(const Record& record);
  bool is_followed(const Record& record, std::size_t bytes, bool ended) const;
  std::size_t pair_within(const Record& record, std::size_t bytes, bool ended) const;

  std::uint32_t last_seconds_ = 0;  // of the last record that fitted its predecessor
  std::uint32_t jump_seconds_ = 0;  // of the last record
  bool has_last_ = false;
  bool followed_ = false;  // the record that is next was looked at
  std::size_t search_first_ = 0;
};

}  // namespace tramlog
