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
  std::string name;  // as the user gave it; "-" is standard input. For messages, never for the report
  std::string
      fingerprint;  // of the packets that were read: the same for a file, a pipe, plain and compressed
  std::uint64_t packets = 0;  // of link type 227
  std::uint64_t foreign = 0;  // packets of other link types, CAN XL, shorter than their header
  std::uint64_t damaged_bytes = 0;
  bool read_error = false;  // the system or the decompressor failed in the middle, or nothing could be read at all
  std::string unreadable;   // why nothing at all could be read; else empty
};

/// All captures of one command, merged in time order; one at a time is open unless they overlap.
///
/// Order: files are taken by the time of their first packet. Events of one file keep the order of that file,
/// also where its clock went back. Where files overlap, the file whose next event is earlier goes first;
/// equals go in the order of the files. A single time stamp of a pcapng file (or two in a row) that lies more than
/// 2 s from those around it, while these agree with each other, is put right and told as Damage of that kind. One
/// that cannot be put right (the last one, or in classic pcap) is passed on as it is and does not disturb the
/// merge; several in a row hold their file back until the files it overlaps with have ended.
///
/// Buses: interfaces of the same name are the same bus, in whatever section or file, also when the files
/// overlap. Interfaces without a name are "bus0", "bus1" by their number in the section. A BusInfo comes
/// before the first packet of its bus, and again if another bitrate is told.
///
/// Packets of link types other than 227 are `foreign`; their bus says nothing.
/// Damage notices carry the time of the last packet before them. Damage of 0 bytes is a guess that had to be
/// made, such as a lost interface description. Damage of decompression tells the place in the compressed file
/// in its reason.
///
/// Memory: half a MiB per open file, up to 40 MiB for a file with a block so large, and for Zstandard what
/// its frames ask for, at most 128 MiB. Pipes are read as a stream.
class CaptureSource {
 public:
  /// Opens and peeks into every file. Fails (ErrorKind::input, or environment for permission and device
  /// errors) if one cannot be opened, or if none is a capture of link type 227: the error says what it is instead. A file
  /// that is no capture (an empty one after a power cut) beside others that are is a Damage of 0 bytes, and `unreadable`.
  /// "-" is standard input and may be named once. Keep and index files of the recorder's segments are left out.
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
