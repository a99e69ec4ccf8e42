#include "io/capture_writer.hpp"

#include <fcntl.h>
#include <unistd.h>
#include <zstd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <string_view>
#include <utility>
#include <vector>

#include "io/block_encoder.hpp"
#include "io/output_file.hpp"
#include "io/unfinished.hpp"

namespace tramlog {
namespace {

// Blocks are collected up to this size, then go out together; compressed captures get one Zstandard frame for
// each such piece, so that damage to one piece leaves the others readable.
constexpr std::size_t kPieceBytes = 1 << 20;
constexpr int kCompressionLevel = 3;

bool ends_with(std::string_view text, std::string_view tail) {
  return text.size() >= tail.size() && text.substr(text.size() - tail.size()) == tail;
}

Error cannot_create(int error, const std::string& path) {
  return Error{ErrorKind::environment, std::string("cannot create the capture: ") + std::strerror(error),
               path, "check that the folder exists and may be written"};
}

}  // namespace

class CaptureWriter::Impl {
 public:
  Impl(int descriptor, std::string path, bool compressed) : path_(std::move(path)), descriptor_(descriptor) {
    piece_.reserve(kPieceBytes);
    if (compressed) {
      compressor_ = ZSTD_createCCtx();
      if (compressor_ == nullptr) {
        fail(ENOMEM);
      } else {
        ZSTD_CCtx_setParameter(compressor_, ZSTD_c_compressionLevel, kCompressionLevel);
        ZSTD_CCtx_setParameter(compressor_, ZSTD_c_checksumFlag, 1);
        packed_.resize(ZSTD_compressBound(kPieceBytes));
      }
    }
  }
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;
  ~Impl() {
    if (part_.empty()) flush();
    if (descriptor_ >= 0) ::close(descriptor_);
    if (!part_.empty()) remove_unfinished(part_);
    ZSTD_freeCCtx(compressor_);
  }

  void put_in_place_of(std::string part) { part_ = std::move(part); }

  void blocks(Bytes bytes) {
    while (!bytes.empty()) {
      if (piece_.size() + bytes.size() > kPieceBytes) flush();
      const std::size_t count = std::min(bytes.size(), kPieceBytes);
      piece_.insert(piece_.end(), bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(count));
      bytes = bytes.subspan(count);
    }
  }

  /// For one more block.
  BlockEncoder& encoder() {
    if (piece_.size() + BlockEncoder::kLongestBlock > kPieceBytes) flush();
    return encoder_;
  }

  void flush() {
    bytes_ += piece_.size();
    if (piece_.empty() || error_ != 0) {
      piece_.clear();
      return;
    }
    if (compressor_ != nullptr) {
      const std::size_t packed =
          ZSTD_compress2(compressor_, packed_.data(), packed_.size(), piece_.data(), piece_.size());
      if (ZSTD_isError(packed)) {
        fail(EIO);
      } else {
        write_out(packed_.data(), packed);
      }
    } else {
      write_out(piece_.data(), piece_.size());
    }
    piece_.clear();
  }

  Result<std::uint64_t> finish() {
    flush();
    if (descriptor_ >= 0 && ::close(descriptor_) != 0) fail(errno);
    descriptor_ = -1;
    if (error_ != 0) return problem();
    if (!part_.empty()) {
      const auto placed = tramlog::put_in_place(std::exchange(part_, ""), path_);
      if (!placed) return placed.error();
    }
    return bytes_;
  }

  bool healthy() const { return error_ == 0; }

  Error problem() const {
    return Error{ErrorKind::environment, std::string("cannot write the capture: ") + std::strerror(error_),
                 path_,
                 error_ == ENOSPC ? "free some space on that disk" : "check the disk and the permissions"};
  }

 private:
  void fail(int code) {
    if (error_ == 0) error_ = code != 0 ? code : EIO;
  }

  void write_out(const std::uint8_t* data, std::size_t size) {
    while (size > 0) {
      const ssize_t done = ::write(descriptor_, data, size);
      if (done < 0 && errno == EINTR) continue;
      if (done <= 0) return fail(errno);
      data += done;
      size -= static_cast<std::size_t>(done);
    }
  }

  std::string path_;
  std::string part_;  // empty: written directly
  std::vector<std::uint8_t> piece_;
  BlockEncoder encoder_{piece_};
  std::vector<std::uint8_t> packed_;
  ZSTD_CCtx* compressor_ = nullptr;
  std::uint64_t bytes_ = 0;
  int descriptor_ = -1;
  int error_ = 0;
};

CaptureWriter::CaptureWriter(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
CaptureWriter::CaptureWriter(CaptureWriter&&) noexcept = default;
CaptureWriter& CaptureWriter::operator=(CaptureWriter&&) noexcept = default;
CaptureWriter::~CaptureWriter() = default;

Result<CaptureWriter> CaptureWriter::create(const std::string& path) {
  const int descriptor = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
  if (descriptor < 0) return cannot_create(errno, path);
  auto impl = std::make_unique<Impl>(descriptor, path, ends_with(path, ".zst"));
  impl->encoder().section();
  return CaptureWriter(std::move(impl));
}

Result<CaptureWriter> CaptureWriter::create_beside(const std::string& path) {
  auto writer = create_for_blocks(path);
  if (writer) writer->impl_->encoder().section();
  return writer;
}

Result<CaptureWriter> CaptureWriter::create_for_blocks(const std::string& path) {
  Outlet out = open_outlet(path, 0644);
  if (out.fd < 0) return cannot_create(out.error, path);
  auto impl = std::make_unique<Impl>(out.fd, std::move(out.path), ends_with(path, ".zst"));
  impl->put_in_place_of(std::move(out.part));
  return CaptureWriter(std::move(impl));
}

void CaptureWriter::add_bus(const BusInfo& bus) {
  impl_->encoder().bus(bus);
}

void CaptureWriter::write_frame(const Event& frame, std::uint64_t lost_before) {
  impl_->encoder().frame(frame, lost_before);
}

void CaptureWriter::write_counters(BusIndex bus, TimeNs time, const Counters& counters) {
  impl_->encoder().counters(bus, time, counters);
}

void CaptureWriter::write_link(BusIndex bus, TimeNs time, LinkState state) {
  impl_->encoder().link(bus, time, state);
}

void CaptureWriter::write_note(BusIndex bus, TimeNs time, const RecorderNote& note) {
  impl_->encoder().note(bus, time, note);
}

void CaptureWriter::write_blocks(Bytes blocks) {
  impl_->blocks(blocks);
}

bool CaptureWriter::flush() {
  impl_->flush();
  return impl_->healthy();
}

Result<std::uint64_t> CaptureWriter::finish() {
  return impl_->finish();
}

}  // namespace tramlog
