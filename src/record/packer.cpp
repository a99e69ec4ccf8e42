#include "record/packer.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zstd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>
#include <vector>

#include "record/block_tally.hpp"
#include "record/durable.hpp"
#include "record/segment_index.hpp"
#include "record/segment_name.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kPiece = 1024 * 1024;
static_assert(kPiece > 2 * BlockTally::kLongestBlock);
constexpr int kLevel = 3;

Error stopped(const std::string& path) {
  return {ErrorKind::environment, "packing was stopped", path, "nothing is lost: it is packed later"};
}

/// From one descriptor to the other; the error has already been put into words.
std::optional<Error> compress(const OwnedFile& from, const std::string& plain, const OwnedFile& to,
                              const std::string& part, const std::atomic<bool>& stop) {
  const std::unique_ptr<ZSTD_CCtx, decltype(&ZSTD_freeCCtx)> context(ZSTD_createCCtx(), ZSTD_freeCCtx);
  if (!context) return disk_error("cannot pack", ENOMEM, plain);
  ZSTD_CCtx_setParameter(context.get(), ZSTD_c_compressionLevel, kLevel);
  ZSTD_CCtx_setParameter(context.get(), ZSTD_c_checksumFlag, 1);
  ZSTD_CCtx_setParameter(context.get(), ZSTD_c_contentSizeFlag, 1);
  std::vector<std::uint8_t> piece(kPiece), packed(ZSTD_compressBound(kPiece));
  BlockTally tally;
  std::size_t held = 0;
  bool ended = false;
  for (bool first = true; !ended || held > 0 || first; first = false) {
    if (stop.load()) return stopped(plain);
    if (!ended) {
      const std::int64_t got = read_up_to(from.get(), piece.data() + held, piece.size() - held);
      if (got < 0) return disk_error("cannot read the segment", errno, plain);
      held += static_cast<std::size_t>(got);
      ended = held < piece.size();
    }
    // What is left over is less than a block, or damage that is looked at again with what follows.
    const std::size_t taken = tally.take(Bytes(piece.data(), held), ended);
    if (taken == 0 && !first) continue;
    const std::size_t size = ZSTD_compress2(context.get(), packed.data(), packed.size(), piece.data(), taken);
    if (ZSTD_isError(size))
      return Error{ErrorKind::environment, ZSTD_getErrorName(size), plain, "it stays as it is"};
    if (const int code = write_all(to.get(), Bytes(packed.data(), size)); code != 0)
      return disk_error("cannot write the packed segment", code, part);
    std::memmove(piece.data(), piece.data() + taken, held - taken);
    held -= taken;
  }
  if (::fsync(to.get()) != 0) return disk_error("cannot write the packed segment", errno, part);
  return std::nullopt;
}

/// Removes the file unless told otherwise.
class Unfinished {
 public:
  explicit Unfinished(std::string path) : path_(std::move(path)) {}
  ~Unfinished() {
    if (!path_.empty()) ::unlink(path_.c_str());
  }
  Unfinished(const Unfinished&) = delete;
  Unfinished& operator=(const Unfinished&) = delete;
  void is_finished() { path_.clear(); }

 private:
  std::string path_;
};

}  // namespace

Result<PackedSegment> pack_segment(const std::string& plain, const std::atomic<bool>& stop) {
  const std::string path = plain + std::string(kPackedEnding);
  const std::string part = path + std::string(kPartEnding);
  const OwnedFile from(::open(plain.c_str(), O_RDONLY | O_CLOEXEC));
  if (!from.is_open())
    return errno == ENOENT ? Error{ErrorKind::input, "no such segment", plain, "it was removed meanwhile"}
                           : disk_error("cannot open the segment", errno, plain);
  OwnedFile to(::open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640));
  if (!to.is_open()) return disk_error("cannot create the packed segment", errno, part);
  Unfinished unfinished(part);
  if (auto error = compress(from, plain, to, part, stop)) return *error;
  to.close();
  auto index = build_index_and_compare(part, plain, stop);
  if (!index) return stop.load() ? stopped(plain) : index.error();
  if (::rename(part.c_str(), path.c_str()) != 0)
    return disk_error("cannot put the packed segment in place", errno, path);
  unfinished.is_finished();
  const std::string folder = folder_of(plain);
  if (const int code = sync_folder(folder); code != 0) {
    ::unlink(path.c_str());
    return disk_error("cannot write the folder", code, folder);
  }
  // Without an index it is still a segment; the index can be built at any time.
  const bool indexed = write_index(path, *index).ok();
  if (!indexed) remove_file(index_path(path));
  if (const int code = remove_file(plain); code != 0)
    return disk_error("cannot remove the plain segment", code, plain);
  sync_folder(folder);
  return PackedSegment{path, index->plain_bytes(), index->packed_bytes(), index->frames.size()};
}

}  // namespace tramlog
