#include "io/capture_writer.hpp"

#include <fcntl.h>
#include <unistd.h>
#include <zstd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <optional>
#include <string_view>
#include <vector>

#include "io/pcapng_format.hpp"

namespace tramlog {
namespace {

// Blocks are collected up to this size, then go out together; compressed captures get one Zstandard frame for
// each such piece, so that damage to one piece leaves the others readable.
constexpr std::size_t kPieceBytes = 1 << 20;
constexpr int kCompressionLevel = 3;
constexpr std::size_t kMaxPayload = 64;
constexpr std::uint8_t kFdFlagOnFile = 0x04;
constexpr std::uint8_t kBrsFlagOnFile = 0x01;
constexpr std::uint8_t kEsiFlagOnFile = 0x02;

template <class T>
void put_le(std::uint8_t*& at, T value) {
  for (std::size_t i = 0; i < sizeof value; ++i) *at++ = static_cast<std::uint8_t>(value >> (8 * i));
}

void put_be32(std::uint8_t*& at, std::uint32_t value) {
  for (int shift = 24; shift >= 0; shift -= 8) *at++ = static_cast<std::uint8_t>(value >> shift);
}

void put_time(std::uint8_t*& at, TimeNs time) {
  const auto units = static_cast<std::uint64_t>(time);
  put_le(at, static_cast<std::uint32_t>(units >> 32));
  put_le(at, static_cast<std::uint32_t>(units));
}

void put_option_u64(std::uint8_t*& at, std::uint16_t code, std::uint64_t value) {
  put_le(at, code);
  put_le(at, std::uint16_t{8});
  put_le(at, value);
}

bool ends_with(std::string_view text, std::string_view tail) {
  return text.size() >= tail.size() && text.substr(text.size() - tail.size()) == tail;
}

std::uint32_t id_on_file(const Event& frame) {
  std::uint32_t id = frame.id;
  if (frame.kind == EventKind::error) return (id & 0x1FFFFFFF) | pcapng::kCanError;
  if (frame.flags & kExtendedId) id |= pcapng::kCanExtended;
  if (frame.flags & kRemote) id |= pcapng::kCanRemote;
  return id;
}

}  // namespace

class CaptureWriter::Impl {
 public:
  Impl(int descriptor, std::string path, bool compressed) : path_(std::move(path)), descriptor_(descriptor) {
    piece_.reserve(kPieceBytes + 4096);
    if (compressed) {
      compressor_ = ZSTD_createCCtx();
      if (compressor_ == nullptr) {
        fail(ENOMEM);
      } else {
        ZSTD_CCtx_setParameter(compressor_, ZSTD_c_compressionLevel, kCompressionLevel);
        ZSTD_CCtx_setParameter(compressor_, ZSTD_c_checksumFlag, 1);
        packed_.resize(ZSTD_compressBound(kPieceBytes + 4096));
      }
    }
  }
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;
  ~Impl() {
    flush();
    if (descriptor_ >= 0) ::close(descriptor_);
    ZSTD_freeCCtx(compressor_);
  }

  // Room for one block; the caller fills it from the returned place and ends it with close_block.
  std::uint8_t* open_block(std::size_t most) {
    if (piece_.size() + most > kPieceBytes) flush();
    begin_ = piece_.size();
    piece_.resize(begin_ + most);
    return piece_.data() + begin_;
  }

  void close_block(std::uint8_t* end) {
    const auto length = static_cast<std::uint32_t>(end - (piece_.data() + begin_) + 4);
    std::uint8_t* at = piece_.data() + begin_ + 4;
    put_le(at, length);
    put_le(end, length);
    piece_.resize(begin_ + length);
    bytes_ += length;
  }

  void flush() {
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
  std::vector<std::uint8_t> piece_;
  std::vector<std::uint8_t> packed_;
  ZSTD_CCtx* compressor_ = nullptr;
  std::size_t begin_ = 0;
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
  if (descriptor < 0) {
    return Error{ErrorKind::environment, std::string("cannot create the capture: ") + std::strerror(errno),
                 path, "check that the folder exists and may be written"};
  }
  auto impl = std::make_unique<Impl>(descriptor, path, ends_with(path, ".zst"));
  std::uint8_t* at = impl->open_block(28);
  put_le(at, pcapng::kSectionHeader);
  put_le(at, std::uint32_t{0});
  put_le(at, pcapng::kByteOrderMagic);
  put_le(at, std::uint16_t{1});  // version 1.0
  put_le(at, std::uint16_t{0});
  put_le(at, ~std::uint64_t{0});  // section length not told
  impl->close_block(at);
  return CaptureWriter(std::move(impl));
}

void CaptureWriter::add_bus(const BusInfo& bus) {
  const std::size_t name_size = std::min<std::size_t>(bus.name.size(), 1024);
  std::uint8_t* at = impl_->open_block(80 + name_size);
  put_le(at, pcapng::kInterfaceDescription);
  put_le(at, std::uint32_t{0});
  put_le(at, pcapng::kLinkTypeSocketCan);
  put_le(at, std::uint16_t{0});
  put_le(at, std::uint32_t{0});  // snap length: none
  put_le(at, pcapng::kIfName);
  put_le(at, static_cast<std::uint16_t>(name_size));
  at = std::copy_n(bus.name.data(), name_size, at);
  for (std::size_t i = name_size; i % 4 != 0; ++i) *at++ = 0;
  put_le(at, pcapng::kIfTsResol);
  put_le(at, std::uint16_t{1});
  put_le(at, std::uint32_t{9});  // nanoseconds, and three bytes of padding
  if (bus.bitrate != 0) put_option_u64(at, pcapng::kIfSpeed, bus.bitrate);
  put_le(at, std::uint32_t{0});  // end of options
  impl_->close_block(at);
}

void CaptureWriter::write_frame(const Event& frame, std::uint64_t lost_before) {
  const bool remote = frame.kind == EventKind::frame && (frame.flags & kRemote);
  const std::uint8_t len = std::min<std::uint8_t>(frame.len, kMaxPayload);
  const std::uint32_t payload = remote || frame.data == nullptr ? 0 : len;
  std::uint8_t* at = impl_->open_block(128 + kMaxPayload);
  put_le(at, pcapng::kEnhancedPacket);
  put_le(at, std::uint32_t{0});
  put_le(at, static_cast<std::uint32_t>(frame.bus));
  put_time(at, frame.time);
  put_le(at, 8 + payload);
  put_le(at, 8 + payload);
  put_be32(at, id_on_file(frame));
  *at++ = len;
  std::uint8_t fd = 0;
  if (frame.kind == EventKind::frame && (frame.flags & kFd)) {
    fd = kFdFlagOnFile;
    if (frame.flags & kBitRateSwitch) fd |= kBrsFlagOnFile;
    if (frame.flags & kErrorState) fd |= kEsiFlagOnFile;
  }
  *at++ = fd;
  *at++ = 0;
  *at++ = 0;
  if (payload != 0) at = std::copy_n(frame.data, payload, at);
  for (std::uint32_t i = payload; i % 4 != 0; ++i) *at++ = 0;
  const bool outbound = frame.flags & kOutbound;
  if (outbound) {
    put_le(at, pcapng::kEpbFlags);
    put_le(at, std::uint16_t{4});
    put_le(at, std::uint32_t{2});
  }
  if (lost_before != 0) put_option_u64(at, pcapng::kEpbDropCount, lost_before);
  if (outbound || lost_before != 0) put_le(at, std::uint32_t{0});
  impl_->close_block(at);
}

void CaptureWriter::write_counters(BusIndex bus, TimeNs time, const Counters& counters) {
  std::uint8_t* at = impl_->open_block(80);
  put_le(at, pcapng::kInterfaceStatistics);
  put_le(at, std::uint32_t{0});
  put_le(at, static_cast<std::uint32_t>(bus));
  put_time(at, time);
  if (counters.received) put_option_u64(at, pcapng::kIsbIfRecv, *counters.received);
  if (counters.interface_dropped) put_option_u64(at, pcapng::kIsbIfDrop, *counters.interface_dropped);
  if (counters.system_dropped) put_option_u64(at, pcapng::kIsbOsDrop, *counters.system_dropped);
  put_le(at, std::uint32_t{0});
  impl_->close_block(at);
}

void CaptureWriter::write_link(BusIndex bus, TimeNs time, LinkState state) {
  std::uint8_t* at = impl_->open_block(48);
  put_le(at, pcapng::kInterfaceStatistics);
  put_le(at, std::uint32_t{0});
  put_le(at, static_cast<std::uint32_t>(bus));
  put_time(at, time);
  put_le(at, pcapng::kIsbLinkState);
  put_le(at, std::uint16_t{1});
  put_le(at, static_cast<std::uint32_t>(state));
  put_le(at, std::uint32_t{0});
  impl_->close_block(at);
}

bool CaptureWriter::flush() {
  impl_->flush();
  return impl_->healthy();
}

Result<std::uint64_t> CaptureWriter::finish() {
  return impl_->finish();
}

}  // namespace tramlog
