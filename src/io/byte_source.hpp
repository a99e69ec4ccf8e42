// Where the bytes of a capture come from: a file, a pipe, memory, or the Zstandard decompressor on top of
// one.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>

#include "base/bytes.hpp"

namespace tramlog {

/// Bytes are missing at this place: a read error, or compressed data that does not decompress.
struct Gap {
  std::string reason;            // a sentence part
  std::uint64_t file_bytes = 0;  // bytes of the file itself that gave nothing, where known
  bool doubtful = false;         // none is missing: the checksum says that some of those before are wrong
};

class ByteSource {
 public:
  enum class Status { data, gap, end };
  struct Chunk {
    Status status = Status::end;
    std::size_t size = 0;  // of `data`, at least 1
  };

  ByteSource() = default;
  ByteSource(const ByteSource&) = delete;
  ByteSource& operator=(const ByteSource&) = delete;
  virtual ~ByteSource() = default;

  /// Waits for at least one byte and takes what is there, at most `size` (> 0). After a gap reading goes on
  /// behind it, or ends.
  virtual Chunk read(std::uint8_t* into, std::size_t size) = 0;
  /// Why the last read() said `gap`.
  const Gap& gap() const { return gap_; }

 protected:
  Gap gap_;
};

/// An open file descriptor, read from where it stands. It is read, not mapped: a file that is cut short or
/// lies on a failing disk then ends or fails a read, where a mapping would kill the process with SIGBUS,
/// memory stays at one window, and pipes take the same way. The copy costs 1 to 2 ns per frame.
class FileSource final : public ByteSource {
 public:
  /// Closes `descriptor` at the end if it owns it.
  FileSource(int descriptor, bool owns);
  ~FileSource() override;
  Chunk read(std::uint8_t* into, std::size_t size) override;

 private:
  int descriptor_;
  bool owns_;
  bool failed_ = false;
};

/// Bytes in memory, which must outlive the source. `step` > 0 hands them out in pieces of that size, like a
/// pipe.
class MemorySource final : public ByteSource {
 public:
  explicit MemorySource(Bytes bytes, std::size_t step = 0) : rest_(bytes), step_(step) {}
  Chunk read(std::uint8_t* into, std::size_t size) override;

 private:
  Bytes rest_;
  std::size_t step_;
};

}  // namespace tramlog
