// What a file is before it is read: its format, whether it is for us, and when it starts.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "base/result.hpp"
#include "base/time.hpp"
#include "io/byte_window.hpp"
#include "io/capture_file_reader.hpp"

namespace tramlog {

/// Enough to open a file again later.
struct ProbedCapture {
  std::string path;
  CaptureFormat format = CaptureFormat::pcapng;
  TimeNs start = 0;      // of the first packet, or of statistics and notes before it; kTimeLimit if there is neither
  bool regular = false;  // device and inode tell it from others
  std::uint64_t device = 0;
  std::uint64_t inode = 0;
  std::unique_ptr<ByteWindow> stream;  // of a pipe, which cannot be opened twice
  std::optional<Error> unreadable;     // a file that is there, among others that can be read
};

/// Looks at the first bytes (at most 4 MiB of the unpacked file). "-" is standard input.
Result<ProbedCapture> probe_capture(const std::string& path);

/// The same for bytes that a window gives; it stands at the start afterwards. `skip_gaps`: it will not be read again, so a first
/// Zstandard frame that does not unpack may be passed over.
Result<ProbedCapture> probe_window(ByteWindow& window, const std::string& name, bool compressed, bool skip_gaps = false);

/// Opens a probed file for reading from its start.
Result<std::unique_ptr<ByteWindow>> open_probed(ProbedCapture& capture);

/// Words for the link types that other captures mostly have, "link type 1 (Ethernet)".
std::string link_type_text(unsigned link_type);

/// What a file that is no capture seems to be ("a JPEG picture"), or empty.
std::string known_content(Bytes first_bytes);

}  // namespace tramlog
