// Zstandard frames, one after the other, as one stream of bytes (RFC 8878).
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "io/byte_source.hpp"

struct ZSTD_DCtx_s;

namespace tramlog {

/// Decompresses what `compressed` gives. A frame that is damaged or cut short gives what could be unpacked,
/// then a gap; reading goes on at the next frame that unpacks. Skippable frames are skipped. Needs at most
/// 128 MiB for the window that a frame may ask for, and half a MiB of compressed bytes, some of them behind
/// the place of reading, to look for frames that a damaged one has swallowed.
class ZstdSource final : public ByteSource {
 public:
  static constexpr int kLargestWindowLog = 27;

  explicit ZstdSource(std::unique_ptr<ByteSource> compressed);
  ~ZstdSource() override;
  Chunk read(std::uint8_t* into, std::size_t size) override;

  /// Whether these bytes begin a Zstandard frame or a skippable one.
  static bool begins(Bytes bytes);
  /// Whether a whole Zstandard frame is somewhere among these bytes.
  static bool holds_frame(Bytes bytes);

 private:
  enum class Input { some, ended };
  Input more();
  bool seek_frame();
  /// `doubtful`: all of it was given, and its checksum does not hold.
  void give_up_frame(std::string reason, bool doubtful = false);
  std::uint64_t file_offset() const { return buffer_offset_ + next_; }

  std::unique_ptr<ByteSource> compressed_;
  ZSTD_DCtx_s* context_;
  std::vector<std::uint8_t> buffer_;
  std::size_t next_ = 0;             // of the bytes in the buffer, the first that is not consumed
  std::size_t held_ = 0;             // bytes in the buffer
  std::uint64_t buffer_offset_ = 0;  // of the buffer's first byte in the compressed file
  std::uint64_t frame_offset_ = 0;   // where the present frame starts
  bool in_frame_ = false;
  bool flush_ = false;    // the decompressor holds output that did not fit
  std::size_t hint_ = 5;  // bytes that the decompressor wants next
  bool input_ended_ = false;
  bool input_failed_ = false;
  bool searching_ = false;    // for the next frame, after damage
  bool silent_ = false;       // since the last gap no byte came out: one gap says it all
  bool gap_pending_ = false;  // told once the search is over
  std::uint64_t rewind_budget_ =
      64 * 1024 * 1024;  // bytes to be unpacked again, so that no file takes for ever
  std::uint64_t damage_offset_ = 0;
};

}  // namespace tramlog
