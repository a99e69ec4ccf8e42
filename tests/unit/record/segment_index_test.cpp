#include "record/segment_index.hpp"

#include <random>

#include "record/packer.hpp"
#include "recording.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

const std::atomic<bool> kGoOn{false};

/// A folder with one packed segment of several frames and its index.
struct Packed {
  Folder folder;
  std::string path = folder.path(name_of(1, 1, true));
  std::string index = name_of(1, 1, true) + ".index";
  explicit Packed(unsigned frames = 50'000) {
    write_segment(folder.path(name_of(1, 1)), {1, kStart, frames, true});
    REQUIRE(pack_segment(folder.path(name_of(1, 1)), kGoOn).ok());
  }
};

}  // namespace

TEST_CASE("The index tells times and packets of each frame") {
  const Packed packed;
  const auto index = read_index(packed.path);
  REQUIRE(index.ok());
  const auto& frames = index.value().frames;
  REQUIRE(frames.size() == 3);  // 48 bytes a frame: 2.4 MB
  std::uint64_t packets = 0;
  TimeNs next = kStart;
  for (const IndexFrame& frame : frames) {
    CHECK(frame.timed);
    CHECK(frame.first == next);
    packets += frame.packets;
    // Packet number n (from 0) is n milliseconds after the start.
    next = kStart + static_cast<TimeNs>(packets) * kMillisecond;
    if (&frame != &frames.back()) CHECK(frame.last == next - kMillisecond);
  }
  CHECK(packets == 50'000);
  CHECK(frames.back().last == kStart + 50'000 * kMillisecond + 5);
  // Built from the file alone it is the same.
  const auto built = build_index(packed.path);
  REQUIRE(built.ok());
  CHECK(built.value().frames == frames);
}

TEST_CASE("The text of an index") {
  SegmentIndex index;
  index.frames.push_back({0, 100, 0, 1000, true, -5, 7, 20});
  index.frames.push_back({100, 50, 1000, 400, false, 0, 0, 0});
  const std::string text = index_text(index);
  CHECK(text.substr(0, 15) == "tramlog.index/1");
  CHECK(text.substr(text.find('\n') + 1) == "0 100 0 1000 -5 7 20\n100 50 1000 400 - - 0\n");
}

TEST_CASE("An index with any byte changed, missing or added is not believed") {
  const Packed packed;
  const std::string good = packed.folder.read(packed.index);
  for (std::size_t i = 0; i < good.size(); ++i) {
    for (const int change : {1, 2, 16}) {
      std::string bad = good;
      bad[i] = static_cast<char>(bad[i] ^ change);
      packed.folder.write(packed.index, bad);
      INFO("byte " << i << " changed by " << change);
      REQUIRE_FALSE(read_index(packed.path).ok());
    }
    packed.folder.write(packed.index, good.substr(0, i));
    REQUIRE_FALSE(read_index(packed.path).ok());
  }
  packed.folder.write(packed.index, good + "\n");
  CHECK_FALSE(read_index(packed.path).ok());
  packed.folder.write(packed.index, good);
  CHECK(read_index(packed.path).ok());
  fs::remove(packed.folder.path(packed.index));
  CHECK_FALSE(read_index(packed.path).ok());
}

TEST_CASE("A sound index of another segment is found out") {
  const Packed packed;
  const std::string good = packed.folder.read(packed.index);
  SECTION("of another size") {
    const Packed other(40'000);
    packed.folder.write(packed.index, other.folder.read(other.index));
  }
  SECTION("of the same size, with frames elsewhere") {
    auto index = read_index(packed.path);
    REQUIRE(index.ok());
    index.value().frames[0].packed_bytes -= 4;
    index.value().frames[1].packed_offset -= 4;
    index.value().frames[1].packed_bytes += 4;
    REQUIRE(write_index(packed.path, index.value()).ok());
  }
  SECTION("of the same size, unpacking to another") {
    auto index = read_index(packed.path);
    REQUIRE(index.ok());
    index.value().frames.back().plain_bytes += 4;
    REQUIRE(write_index(packed.path, index.value()).ok());
  }
  SECTION("the segment grew") {
    std::ofstream(packed.path, std::ios::binary | std::ios::app) << "more";
  }
  SECTION("the segment is cut") {
    fs::resize_file(packed.path, fs::file_size(packed.path) - 1);
  }
  CHECK_FALSE(read_index(packed.path).ok());
}

TEST_CASE("No index is built of what does not unpack to its end") {
  const Packed packed;
  const std::string good = packed.folder.read(name_of(1, 1, true));
  std::mt19937 random(3);
  for (int i = 0; i < 40; ++i) {
    std::string bad = good;
    if (i % 2 == 0)
      bad.resize(1 + random() % (good.size() - 1));
    else
      bad[random() % good.size()] ^= static_cast<char>(1 + random() % 255);
    packed.folder.write(name_of(1, 1, true), bad);
    const auto index = build_index(packed.path);
    const auto whole = read_index(packed.path);
    // A cut just between two frames is a whole file, though another one.
    if (index)
      CHECK(index.value().packed_bytes() == bad.size());
    else
      CHECK(index.error().kind == ErrorKind::input);
    if (i % 2 == 0) CHECK_FALSE(whole.ok());
  }
  packed.folder.write(name_of(1, 1, true), "no Zstandard at all");
  CHECK_FALSE(build_index(packed.path).ok());
  CHECK_FALSE(build_index(packed.folder.path("nothing")).ok());
}

TEST_CASE("What the capture writer packs can be indexed too") {
  const Folder folder;
  write_segment(folder.path(name_of(1, 1, true)), {1, kStart, 30'000, false});
  const auto index = build_index(folder.path(name_of(1, 1, true)));
  REQUIRE(index.ok());
  std::uint64_t packets = 0;
  for (const IndexFrame& frame : index.value().frames) packets += frame.packets;
  CHECK(packets == 30'000);
  REQUIRE(write_index(folder.path(name_of(1, 1, true)), index.value()).ok());
  CHECK(read_index(folder.path(name_of(1, 1, true))).ok());
}
