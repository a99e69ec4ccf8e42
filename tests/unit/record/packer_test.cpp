#include "record/packer.hpp"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <zstd.h>

#include <chrono>
#include <csignal>
#include <random>
#include <thread>

#include "record/run_folder.hpp"
#include "record/segment_index.hpp"
#include "recording.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

const std::atomic<bool> kGoOn{false};

std::string unpacked(const std::string& packed) {
  std::string bytes;
  for (std::size_t at = 0; at < packed.size();) {
    const std::size_t frame = ZSTD_findFrameCompressedSize(packed.data() + at, packed.size() - at);
    REQUIRE(ZSTD_isError(frame) == 0);
    const auto size = ZSTD_getFrameContentSize(packed.data() + at, frame);
    REQUIRE(size < 2'000'000);
    std::string piece(size, '\0');
    REQUIRE(ZSTD_decompress(piece.data(), piece.size(), packed.data() + at, frame) == size);
    bytes += piece;
    at += frame;
  }
  return bytes;
}

}  // namespace

TEST_CASE("A packed segment reads as the plain one did, in frames that begin at blocks") {
  const Folder folder;
  const std::string plain = folder.path(name_of(1, 1));
  write_segment(plain, {1, kStart, 60'000, true});  // some 2.9 MB
  const std::string bytes = folder.read(name_of(1, 1));
  const ReadBack before = read_back(plain);
  REQUIRE(before.packets == 60'000);

  const auto packed = pack_segment(plain, kGoOn);
  REQUIRE(packed.ok());
  const std::string name = name_of(1, 1, true);
  CHECK(folder.names() == std::vector<std::string>{name, name + ".index"});
  CHECK(packed.value().path == folder.path(name));
  CHECK(packed.value().plain_bytes == bytes.size());
  CHECK(packed.value().packed_bytes == fs::file_size(folder.path(name)));
  CHECK(packed.value().frames == (bytes.size() + 1024 * 1024 - 1) / (1024 * 1024));
  const ReadBack after = read_back(folder.path(name));
  CHECK(after.fingerprint == before.fingerprint);
  CHECK(after.events == before.events);
  CHECK(after.damaged == 0);

  const std::string packed_bytes = folder.read(name);
  CHECK(unpacked(packed_bytes) == bytes);
  const auto starts = block_starts(bytes);
  const auto index = read_index(folder.path(name));
  REQUIRE(index.ok());
  REQUIRE(index.value().frames.size() == packed.value().frames);
  std::size_t at = 0;
  for (const IndexFrame& frame : index.value().frames) {
    CHECK(frame.packed_offset == at);
    CHECK(std::binary_search(starts.begin(), starts.end(), frame.plain_offset));
    const std::uint8_t descriptor = static_cast<std::uint8_t>(packed_bytes[at + 4]);
    CHECK((descriptor & 4) != 0);                               // content checksum
    CHECK(((descriptor & 0x20) != 0 || descriptor >> 6 != 0));  // content size
    at += frame.packed_bytes;
  }
  CHECK(at == packed_bytes.size());
}

TEST_CASE("Any bytes can be packed and come back") {
  const Folder folder;
  std::string bytes = segment_bytes({1, kStart, 40'000, false});
  const auto starts = block_starts(bytes);
  SECTION("nothing") {
    bytes.clear();
  }
  SECTION("one byte") {
    bytes = "x";
  }
  SECTION("exactly one piece") {
    bytes.resize(1024 * 1024);
  }
  SECTION("exactly two pieces of zeros") {
    bytes.assign(2 * 1024 * 1024, '\0');
  }
  SECTION("rubbish") {
    bytes.assign(3'000'001, '\0');
    std::mt19937 random(7);
    for (char& byte : bytes) byte = static_cast<char>(random());
  }
  SECTION("damaged in the middle, for longer than a piece") {
    bytes.insert(starts[10'000], std::string(1'700'001, '\x33'));
  }
  SECTION("a block length at every place where a piece may end") {
    for (std::size_t at = 1024 * 1024 - 64; at < 1024 * 1024 + 64; at += 4) bytes[at] = '\x44';
  }
  folder.write(name_of(1, 1), bytes);
  REQUIRE(pack_segment(folder.path(name_of(1, 1)), kGoOn).ok());
  CHECK(unpacked(folder.read(name_of(1, 1, true))) == bytes);
  CHECK(read_index(folder.path(name_of(1, 1, true))).ok());
}

TEST_CASE("Stopped, without the file, or without room: the plain one stays and nothing else") {
  const Folder folder;
  const std::string plain = folder.path(name_of(1, 1));
  write_segment(plain, {1, kStart, 60'000, false});
  const std::string bytes = folder.read(name_of(1, 1));
  const std::atomic<bool> stop{true};
  CHECK_FALSE(pack_segment(plain, stop).ok());
  CHECK_FALSE(pack_segment(folder.path(name_of(1, 2)), kGoOn).ok());

  // No file may grow beyond 200 KiB: what a full disk does, in the middle of the first frames.
  struct rlimit old {};
  REQUIRE(::getrlimit(RLIMIT_FSIZE, &old) == 0);
  const auto handler = std::signal(SIGXFSZ, SIG_IGN);
  struct rlimit small = old;
  small.rlim_cur = 200 * 1024;
  REQUIRE(::setrlimit(RLIMIT_FSIZE, &small) == 0);
  const auto full = pack_segment(plain, kGoOn);
  REQUIRE(::setrlimit(RLIMIT_FSIZE, &old) == 0);
  std::signal(SIGXFSZ, handler);
  REQUIRE_FALSE(full.ok());
  CHECK(full.error().kind == ErrorKind::environment);

  CHECK(folder.names() == std::vector<std::string>{name_of(1, 1)});
  CHECK(folder.read(name_of(1, 1)) == bytes);
}

TEST_CASE(
    "The plain one goes last: not before the packed one is in its place, and not for want of an index") {
  const Folder folder;
  const std::string plain = folder.path(name_of(1, 1));
  write_segment(plain, {1, kStart, 1000, false});
  const std::string bytes = folder.read(name_of(1, 1));
  SECTION("its place is taken by a folder") {
    fs::create_directory(folder.path(name_of(1, 1, true)));
    const auto packed = pack_segment(plain, kGoOn);
    REQUIRE_FALSE(packed.ok());
    CHECK(packed.error().what.find("cannot put the packed segment in place") == 0);
    CHECK(folder.read(name_of(1, 1)) == bytes);
    CHECK(folder.names() == std::vector<std::string>{name_of(1, 1), name_of(1, 1, true)});
  }
  SECTION("the index cannot be written") {
    fs::create_directory(folder.path(name_of(1, 1, true) + ".index.part"));
    REQUIRE(pack_segment(plain, kGoOn).ok());
    CHECK(folder.names() ==
          std::vector<std::string>{name_of(1, 1, true), name_of(1, 1, true) + ".index.part"});
    CHECK(unpacked(folder.read(name_of(1, 1, true))) == bytes);
  }
}

TEST_CASE("Killed at any moment of packing, every segment is whole at the next start") {
  const Folder folder;
  std::vector<std::string> want;
  for (unsigned i = 1; i <= 4; ++i) {
    write_segment(folder.path(name_of(1, i)), {i, kStart + i * kHour, 12'000, i == 4});
    want.push_back(read_back(folder.path(name_of(1, i))).fingerprint);
  }
  const std::string kept = folder.path() + "-copy";
  fs::copy(folder.path(), kept);
  // How long it takes altogether, so that the moments are spread over all of it.
  const auto pack_all = [&] {
    for (unsigned i = 1; i <= 4; ++i)
      if (!pack_segment(folder.path(name_of(1, i)), kGoOn).ok()) ::_exit(1);
    ::_exit(0);
  };
  const auto begun = std::chrono::steady_clock::now();
  const pid_t first = ::fork();
  if (first == 0) pack_all();
  int status = -1;
  REQUIRE(::waitpid(first, &status, 0) == first);
  REQUIRE(status == 0);
  auto within =
      std::chrono::duration_cast<std::chrono::microseconds>(std::chrono::steady_clock::now() - begun).count();

  std::mt19937 random(20261126);
  unsigned killed = 0;
  // Twenty that were killed while at it. One that was done before its moment shows that packing is quicker
  // now than it was when measured (another program had the processor then): the next moments come sooner.
  for (int round = 0; killed < 20 && round < 1000; ++round) {
    fs::remove_all(folder.path());
    fs::copy(kept, folder.path());
    const auto moment = std::uniform_int_distribution<std::int64_t>(0, within)(random);
    const pid_t child = ::fork();
    if (child == 0) pack_all();
    std::this_thread::sleep_for(std::chrono::microseconds(moment));
    ::kill(child, SIGKILL);
    REQUIRE(::waitpid(child, &status, 0) == child);
    if (WIFSIGNALED(status))
      ++killed;
    else
      within = moment;
    auto opened = RunFolder::open(folder.path());
    REQUIRE(opened.ok());
    INFO("killed after " << moment << " us of " << within);
    REQUIRE(opened->previous());
    CHECK(opened->previous()->clean_end);
    for (unsigned i = 1; i <= 4; ++i) {
      const bool plain = folder.has(name_of(1, i)), packed = folder.has(name_of(1, i, true));
      REQUIRE(plain != packed);
      const ReadBack back = read_back(folder.path(name_of(1, i, packed)));
      REQUIRE(back.fingerprint == want[i - 1]);
      REQUIRE(back.damaged == 0);
    }
    for (const std::string& name : folder.names()) REQUIRE(name.find(".part") == std::string::npos);
  }
  CHECK(killed == 20);
  fs::remove_all(kept);
}
