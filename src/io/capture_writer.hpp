// Captures out: pcapng of link type 227 with nanosecond time stamps, little-endian (fact sheet 8.5 to 8.7).
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "base/bytes.hpp"
#include "base/result.hpp"
#include "can/event.hpp"

namespace tramlog {

class CaptureWriter {
 public:
  /// Starts a file with its section header. ".zst" at the end of the name compresses in independent Zstandard
  /// frames.
  static Result<CaptureWriter> create(const std::string& path);

  /// As create(), but written beside its place and put there by finish(); without finish() nothing is left
  /// behind, and what was at that place stays. Pipes and devices are written to directly.
  static Result<CaptureWriter> create_beside(const std::string& path);

  /// As create_beside(), without a section header, for blocks that exist already.
  static Result<CaptureWriter> create_for_blocks(const std::string& path);

  CaptureWriter(CaptureWriter&&) noexcept;
  CaptureWriter& operator=(CaptureWriter&&) noexcept;
  ~CaptureWriter();

  /// Adds an interface block; buses are numbered 0, 1, .. in the order of these calls.
  void add_bus(const BusInfo& bus);
  /// Enhanced packet block. Frame or error frame; flags as in Event (extended, remote, fd, outbound). Only
  /// outbound frames carry epb_flags: without it a frame was received. A remote frame carries its DLC and no
  /// payload. `lost_before` > 0 adds epb_dropcount.
  void write_frame(const Event& frame, std::uint64_t lost_before = 0);
  /// Interface statistics block.
  void write_counters(BusIndex bus, TimeNs time, const Counters& counters);
  /// Interface statistics block with the recorder's own link state (local option, see pcapng_format.hpp).
  void write_link(BusIndex bus, TimeNs time, LinkState state);
  /// Our own block (see pcapng_format.hpp); `bus` counts if the note is of a bus.
  void write_note(BusIndex bus, TimeNs time, const RecorderNote& note);
  /// Whole blocks as they stand in another capture.
  void write_blocks(Bytes blocks);
  /// Hands everything so far to the system (a compressed capture ends its Zstandard frame here), so that a
  /// crash of the program loses nothing of it. False if any write has failed so far; finish() tells why.
  bool flush();
  /// Flushes and closes; the first error of any write is told here (disk full ..).
  Result<std::uint64_t> finish();  // bytes written before compression

 private:
  class Impl;
  explicit CaptureWriter(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
