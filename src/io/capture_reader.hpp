// Captures in, events out: pcapng and classic pcap of link type 227, plain or Zstandard, mapped or streamed.
// Fact sheet, network and diagnostics, 8.5 to 8.8.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "can/event.hpp"

namespace tramlog {

/// What one file turned out to be; complete once it was read to its end.
struct CaptureFile {
  std::string name;             // as the user gave it; "-" is standard input. For messages, never for the report
  std::string fingerprint;      // of the packets that were read: the same for a file, a pipe, plain and compressed
  std::uint64_t packets = 0;    // of link type 227
  std::uint64_t foreign = 0;    // packets of other link types, CAN XL, shorter than their header
  std::uint64_t damaged_bytes = 0;
  bool read_error = false;      // the system or the decompressor failed in the middle
};

/// All captures of one command, merged in time order; one at a time is open unless they overlap.
class CaptureSource {
 public:
  /// Opens and peeks into every file. Fails (ErrorKind::input, or environment for permission and device errors) if one
  /// cannot be opened or is not a capture of link type 227: the error says what it is instead.
  /// "-" is standard input and may be named once.
  static Result<CaptureSource> open(const std::vector<std::string>& paths);

  CaptureSource(CaptureSource&&) noexcept;
  CaptureSource& operator=(CaptureSource&&) noexcept;
  ~CaptureSource();

  /// The next events in time order; empty at the end. What they point to stays valid until the next call.
  std::span<const Event> read();

  /// Sorted by the time of their first packet.
  const std::vector<CaptureFile>& files() const;

 private:
  class Impl;
  explicit CaptureSource(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
