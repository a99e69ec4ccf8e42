// Unpacking a whole segment frame by frame: the index is what that shows.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>
#include <zstd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <memory>

#include "record/block_tally.hpp"
#include "record/durable.hpp"
#include "record/segment_index.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kInput = 128 * 1024;
constexpr std::size_t kOutput = 1024 * 1024;
constexpr int kLargestWindowLog = 27;  // as the reader of captures

class PackedScan {
 public:
  PackedScan(std::string packed, std::string plain, const std::atomic<bool>* stop)
      : packed_(std::move(packed)),
        plain_(std::move(plain)),
        stop_(stop),
        file_(::open(packed_.c_str(), O_RDONLY | O_CLOEXEC)),
        original_(plain_.empty() ? -1 : ::open(plain_.c_str(), O_RDONLY | O_CLOEXEC)),
        context_(ZSTD_createDCtx(), ZSTD_freeDCtx) {}

  Result<SegmentIndex> run();

 private:
  Error damaged(const std::string& what) const {
    return {ErrorKind::input, what, packed_, "read it with tramlog: it says what can still be read"};
  }
  /// More unpacked bytes: compares and walks over them.
  std::optional<Error> took(std::size_t from);
  void end_frame(std::uint64_t packed_end);

  std::string packed_, plain_;
  const std::atomic<bool>* stop_;
  OwnedFile file_, original_;
  std::unique_ptr<ZSTD_DCtx, decltype(&ZSTD_freeDCtx)> context_;
  std::vector<std::uint8_t> output_ = std::vector<std::uint8_t>(kOutput), same_;
  std::size_t held_ = 0;  // bytes in the output that the tally has not taken
  std::uint64_t unpacked_ = 0;
  BlockTally tally_;
  SegmentIndex index_;
};

std::optional<Error> PackedScan::took(std::size_t from) {
  if (original_.is_open()) {
    same_.resize(held_ - from);
    const std::int64_t got = read_up_to(original_.get(), same_.data(), same_.size());
    if (got < 0) return disk_error("cannot read the file", errno, plain_);
    if (static_cast<std::size_t>(got) != same_.size() ||
        !std::equal(same_.begin(), same_.end(), output_.data() + from))
      return damaged("does not unpack to the bytes of the plain segment");
  }
  unpacked_ += held_ - from;
  const std::size_t taken = tally_.take(Bytes(output_.data(), held_), false);
  std::memmove(output_.data(), output_.data() + taken, held_ - taken);
  held_ -= taken;
  return std::nullopt;
}

void PackedScan::end_frame(std::uint64_t packed_end) {
  IndexFrame frame;
  frame.packed_offset = index_.packed_bytes();
  frame.packed_bytes = packed_end - frame.packed_offset;
  frame.plain_offset = index_.plain_bytes();
  frame.plain_bytes = unpacked_ - frame.plain_offset;
  const BlockTally::Times times = tally_.take_times();
  frame.timed = times.timed;
  frame.first = times.first;
  frame.last = times.last;
  frame.packets = times.packets;
  index_.frames.push_back(frame);
}

Result<SegmentIndex> PackedScan::run() {
  if (!file_.is_open())
    return errno == ENOENT ? Error{ErrorKind::input, "no such file", packed_, "check the name and the folder"}
                           : disk_error("cannot open the file", errno, packed_);
  if (!plain_.empty() && !original_.is_open()) return disk_error("cannot open the file", errno, plain_);
  if (!context_) return disk_error("cannot unpack the file", ENOMEM, packed_);
  ZSTD_DCtx_setParameter(context_.get(), ZSTD_d_windowLogMax, kLargestWindowLog);
  std::vector<std::uint8_t> input(kInput);
  std::uint64_t consumed = 0;
  bool in_frame = false;
  for (;;) {
    if (stop_ != nullptr && stop_->load())
      return Error{ErrorKind::environment, "stopped", packed_, "begin again later"};
    const std::int64_t got = read_up_to(file_.get(), input.data(), input.size());
    if (got < 0) return disk_error("cannot read the file", errno, packed_);
    if (got == 0) break;
    ZSTD_inBuffer in{input.data(), static_cast<std::size_t>(got), 0};
    bool more_output = false;
    while (in.pos < in.size || more_output) {
      const std::size_t before_in = in.pos, before_out = held_;
      ZSTD_outBuffer out{output_.data(), output_.size(), held_};
      const std::size_t hint = ZSTD_decompressStream(context_.get(), &out, &in);
      if (ZSTD_isError(hint))
        return damaged(fmt::format("damaged in the Zstandard frame at byte {} ({})", index_.packed_bytes(),
                                   ZSTD_getErrorName(hint)));
      consumed += in.pos - before_in;
      held_ = out.pos;
      more_output = out.pos == out.size && hint != 0;
      if (held_ > before_out)
        if (auto error = took(before_out)) return *error;
      in_frame = hint != 0;
      if (!in_frame) end_frame(consumed);
      // The tally leaves less than a block behind, so there is always room to get on.
      if (in.pos == before_in && held_ == before_out && in.pos < in.size && !more_output)
        return damaged("does not unpack");
    }
  }
  if (in_frame)
    return damaged(fmt::format("ends inside the Zstandard frame at byte {}", index_.packed_bytes()));
  if (original_.is_open()) {
    std::uint8_t one = 0;
    if (read_up_to(original_.get(), &one, 1) != 0) return damaged("holds less than the plain segment");
  }
  return std::move(index_);
}

}  // namespace

Result<SegmentIndex> build_index(const std::string& packed_path, const std::atomic<bool>* stop) {
  return PackedScan(packed_path, "", stop).run();
}

Result<SegmentIndex> build_index_and_compare(const std::string& packed_path, const std::string& plain_path,
                                             const std::atomic<bool>& stop) {
  return PackedScan(packed_path, plain_path, &stop).run();
}

}  // namespace tramlog
