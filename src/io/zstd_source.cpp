#include "io/zstd_source.hpp"

#include <zstd.h>
#include <zstd_errors.h>

#include <algorithm>
#include <cstring>
#include <utility>

namespace tramlog {
namespace {

constexpr std::size_t kBuffer = 512 * 1024;
constexpr std::size_t kHistory = 256 * 1024;
constexpr std::size_t kFrameStart = 5;  // magic number and descriptor, the first that the library asks for
constexpr std::size_t kBlockHeader = 3;
constexpr std::uint32_t kFrameMagic = 0xFD2FB528;
constexpr std::uint32_t kSkippableMagic = 0x184D2A50, kSkippableMask = 0xFFFFFFF0;

}  // namespace

ZstdSource::ZstdSource(std::unique_ptr<ByteSource> compressed)
    : compressed_(std::move(compressed)), context_(ZSTD_createDCtx()), buffer_(kBuffer) {
  if (context_ != nullptr) ZSTD_DCtx_setParameter(context_, ZSTD_d_windowLogMax, kLargestWindowLog);
}

ZstdSource::~ZstdSource() {
  ZSTD_freeDCtx(context_);
}

bool ZstdSource::begins(Bytes bytes) {
  if (bytes.size() < 4) return false;
  const std::uint32_t magic = load_le32(bytes.data());
  return magic == kFrameMagic || (magic & kSkippableMask) == kSkippableMagic;
}

bool ZstdSource::holds_frame(Bytes bytes) {
  for (std::size_t i = 0; i + kFrameStart <= bytes.size(); ++i)
    if (load_le32(bytes.data() + i) == kFrameMagic &&
        ZSTD_isError(ZSTD_findFrameCompressedSize(bytes.data() + i, bytes.size() - i)) == 0)
      return true;
  return false;
}

/// More compressed bytes behind those in the buffer, which keeps some of the consumed ones.
ZstdSource::Input ZstdSource::more() {
  if (input_ended_) return Input::ended;
  if (held_ == buffer_.size()) {
    const std::size_t drop = next_ - std::min(next_, kHistory);
    std::memmove(buffer_.data(), buffer_.data() + drop, held_ - drop);
    next_ -= drop;
    held_ -= drop;
    buffer_offset_ += drop;
  }
  const Chunk chunk = compressed_->read(buffer_.data() + held_, buffer_.size() - held_);
  if (chunk.status == Status::data) {
    held_ += chunk.size;
    return Input::some;
  }
  input_failed_ = chunk.status == Status::gap;
  input_ended_ = true;
  return Input::ended;
}

/// The present frame is of no further use: look for the next one, from just behind the start of this one, as
/// far back as the buffer and the budget go.
void ZstdSource::give_up_frame(std::string reason, bool doubtful) {
  const std::uint64_t start = in_frame_ ? frame_offset_ : file_offset();
  if (!silent_) {
    damage_offset_ = start;
    gap_ = {std::move(reason) + " at byte " + std::to_string(start) + " of the compressed file", 0, doubtful};
    gap_pending_ = true;
    silent_ = true;
  }
  ZSTD_DCtx_reset(context_, ZSTD_reset_session_only);
  hint_ = kFrameStart;
  const std::uint64_t from = std::max(start + 1, buffer_offset_);
  const std::uint64_t back = file_offset() - std::min(file_offset(), from);
  if (back <= rewind_budget_) {
    rewind_budget_ -= back;
    next_ = std::min(static_cast<std::size_t>(from - buffer_offset_), held_);
  }
  in_frame_ = flush_ = false;
  searching_ = true;
}

/// To the start of the next frame; false at the end of the input.
bool ZstdSource::seek_frame() {
  for (;;) {
    for (; held_ - next_ >= 4; ++next_)
      if (load_le32(buffer_.data() + next_) == kFrameMagic) return true;
    if (more() == Input::some) continue;
    next_ = held_;
    return false;
  }
}

ByteSource::Chunk ZstdSource::read(std::uint8_t* into, std::size_t size) {
  if (context_ == nullptr) {
    if (std::exchange(input_ended_, true)) return {};
    gap_ = {"no memory for decompressing", 0};
    return {Status::gap, 0};
  }
  for (;;) {
    if (searching_) {
      const bool found = seek_frame();
      searching_ = false;
      gap_.file_bytes = file_offset() - damage_offset_;
      if (std::exchange(gap_pending_, false)) return {Status::gap, 0};
      if (!found) return {};
    }
    if (next_ == held_ && !flush_) {
      const Input input = more();
      if (input == Input::some) continue;
      if (!in_frame_) {
        if (!input_failed_) return {};
        input_failed_ = false;
        gap_ = compressed_->gap();
        return {Status::gap, 0};
      }
      give_up_frame(std::exchange(input_failed_, false) ? compressed_->gap().reason + " in a Zstandard frame"
                                                        : "the file ends inside a Zstandard frame");
      continue;
    }
    if (!in_frame_) {
      in_frame_ = true;
      frame_offset_ = file_offset();
    }
    // Fed so that no call unpacks one block and then fails at the header of the next, and nothing while
    // output waits: a call that fails does not give what it had unpacked. The library asks for a block and
    // the header behind it.
    const std::size_t wanted = hint_ > kBlockHeader ? hint_ - kBlockHeader : hint_;
    ZSTD_inBuffer input{buffer_.data() + next_, flush_ ? 0 : std::min(held_ - next_, wanted), 0};
    ZSTD_outBuffer output{into, size, 0};
    const std::size_t status = ZSTD_decompressStream(context_, &output, &input);
    next_ += input.pos;
    if (ZSTD_isError(status) != 0) {
      if (ZSTD_getErrorCode(status) == ZSTD_error_checksum_wrong) {
        give_up_frame("the checksum does not hold: bytes before this may be wrong, in the Zstandard frame", true);
        continue;
      }
      give_up_frame(std::string("a Zstandard frame that does not unpack (") + ZSTD_getErrorName(status) +
                    ")");
      continue;
    }
    flush_ = output.pos == output.size;
    if (status == 0) in_frame_ = flush_ = false;
    hint_ = status == 0 ? kFrameStart : status;
    if (output.pos > 0) {
      silent_ = false;
      return {Status::data, output.pos};
    }
  }
}

}  // namespace tramlog
