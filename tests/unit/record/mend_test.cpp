// Each kind of file that an interrupted run leaves behind.
#include "record/mend.hpp"

#include "io/block_encoder.hpp"
#include "record/packer.hpp"
#include "record/segment_index.hpp"
#include "recording.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

std::vector<std::string> mended(const Folder& folder) {
  auto listing = list_folder(folder.path());
  REQUIRE(listing.ok());
  return mend_folder(folder.path(), *listing);
}

/// What the bytes are after mending; "gone" if the file was removed.
std::string mended_bytes(const std::string& bytes, std::vector<std::string>* told = nullptr) {
  const Folder folder;
  folder.write(name_of(1, 1), bytes);
  const auto sentences = mended(folder);
  if (told != nullptr) *told = sentences;
  return folder.has(name_of(1, 1)) ? folder.read(name_of(1, 1)) : "gone";
}

const std::atomic<bool> kGoOn{false};

}  // namespace

TEST_CASE("Cut at every byte of the last blocks, only whole blocks remain") {
  // Frame, statistics, note of the end: the last three kinds of block.
  const std::string whole = segment_bytes({1, kStart, 20, true});
  const auto starts = block_starts(whole);
  const std::size_t from = starts[starts.size() - 6];
  for (std::size_t cut = from; cut <= whole.size(); ++cut) {
    std::size_t last = 0;
    for (const std::size_t start : starts)
      if (start <= cut) last = start;
    std::vector<std::string> told;
    INFO("cut at " << cut << " of " << whole.size());
    REQUIRE(mended_bytes(whole.substr(0, cut), &told) == whole.substr(0, last));
    if (cut == last)
      REQUIRE(told.empty());
    else
      REQUIRE(told == std::vector<std::string>{name_of(1, 1) + ": " + std::to_string(cut - last) +
                                               " bytes of an unfinished block cut off"});
  }
}

TEST_CASE("Cut at every byte of the head, nothing remains; with one whole note the file does") {
  const std::string whole = segment_bytes({1, kStart, 1, false});
  const auto starts = block_starts(whole);  // section, note, two interfaces, frame, statistics
  REQUIRE(starts.size() == 7);
  for (std::size_t cut = 0; cut < starts[2]; ++cut) {
    INFO("cut at " << cut);
    REQUIRE(mended_bytes(whole.substr(0, cut)) == "gone");
  }
  for (std::size_t cut = starts[2]; cut < starts[3]; ++cut)
    REQUIRE(mended_bytes(whole.substr(0, cut)) == whole.substr(0, starts[2]));
  // Section and interfaces alone hold nothing.
  const std::string head = whole.substr(0, starts[1]) + whole.substr(starts[2], starts[4] - starts[2]);
  for (std::size_t cut = 0; cut <= head.size(); ++cut) {
    INFO("head cut at " << cut);
    REQUIRE(mended_bytes(head.substr(0, cut)) == "gone");
  }
}

TEST_CASE("Zeros and rubbish behind the last whole block") {
  const std::string whole = segment_bytes();
  for (const std::size_t zeros : {1u, 3u, 4u, 4096u, 200'000u, 3'000'000u}) {
    INFO(zeros);
    CHECK(mended_bytes(whole + std::string(zeros, '\0')) == whole);
  }
  CHECK(mended_bytes(whole + std::string(70'000, '\xAB')) == whole);
  CHECK(mended_bytes(std::string(1'500'000, '\0')) == "gone");
}

TEST_CASE("Damage in the middle is left as it is") {
  std::string bytes = segment_bytes({1, kStart, 200, true});
  const auto starts = block_starts(bytes);
  SECTION("with a whole end") {
    bytes[starts[50] + 4] = '\x7F';
  }
  SECTION("with a torn end") {
    bytes[starts[50] + 4] = '\x7F';
    bytes.resize(bytes.size() - 7);
  }
  SECTION("with the first block gone") {
    bytes[8] = '\x7F';
  }
  SECTION("zeros in the middle, as a power cut leaves them") {
    std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(starts[20]), 1000, '\0');
    bytes.resize(bytes.size() - 1);
  }
  SECTION("far apart") {
    bytes.insert(starts[100], std::string(2'500'003, '\x55'));
    bytes.resize(bytes.size() - 1);
  }
  const std::string before = bytes;
  CHECK(mended_bytes(bytes) == before);
}

TEST_CASE("Blocks of a later version of the recorder are whole too") {
  std::string whole = segment_bytes();
  const std::string unknown{"\x55\xAA\x55\xAA\x10\0\0\0abcd\x10\0\0\0", 16};
  CHECK(mended_bytes(whole + unknown) == whole + unknown);
  CHECK(mended_bytes(whole + unknown.substr(0, 13)) == whole);
}

TEST_CASE("Only what is ours is touched") {
  const Folder folder;
  for (const char* name :
       {"notes.txt", "other.pcapng.part", "summary.json", "events.jsonl", "run-1.pcapng", "lost.keep"})
    folder.write(name, "x");
  fs::create_directory(folder.path(name_of(3, 1)));
  fs::create_symlink(folder.path("notes.txt"), folder.path(name_of(3, 2)));
  const auto before = folder.names();
  CHECK(mended(folder).empty());
  CHECK(folder.names() == before);
}

TEST_CASE("Every state that packing passes through ends with one whole segment") {
  const Folder folder;
  const std::string plain = name_of(1, 1), packed = name_of(1, 1, true);
  const std::string bytes = segment_bytes({1, kStart, 3000, true});
  folder.write(plain, bytes);
  REQUIRE(pack_segment(folder.path(plain), kGoOn).ok());
  const std::string packed_bytes = folder.read(packed);
  const std::string want = read_back(folder.path(packed)).fingerprint;
  fs::remove(folder.path(packed));
  fs::remove(folder.path(packed + ".index"));

  SECTION("part begun") {
    folder.write(plain, bytes);
    folder.write(packed + ".part", packed_bytes.substr(0, 1000));
    CHECK(mended(folder) == std::vector<std::string>{packed + ".part: unfinished, removed"});
    CHECK(folder.names() == std::vector<std::string>{plain});
    CHECK(folder.read(plain) == bytes);
  }
  SECTION("part whole") {
    folder.write(plain, bytes);
    folder.write(packed + ".part", packed_bytes);
    mended(folder);
    CHECK(folder.names() == std::vector<std::string>{plain});
  }
  SECTION("in its place, the plain one still there") {
    folder.write(plain, bytes);
    folder.write(packed, packed_bytes);
    folder.write(packed + ".index.part", "tram");
    mended(folder);
    CHECK(folder.names() == std::vector<std::string>{packed});
    CHECK(read_back(folder.path(packed)).fingerprint == want);
  }
  SECTION("the plain one torn after that") {
    folder.write(plain, bytes.substr(0, bytes.size() - 5));
    folder.write(packed, packed_bytes);
    mended(folder);
    CHECK(folder.names() == std::vector<std::string>{packed});
  }
  SECTION("the packed one cut short or damaged: the plain one stays") {
    folder.write(plain, bytes);
    std::string bad = packed_bytes;
    const bool cut = GENERATE(true, false);
    if (cut)
      bad.resize(bad.size() / 2);
    else
      bad[bad.size() / 2] = static_cast<char>(bad[bad.size() / 2] ^ 4);
    folder.write(packed, bad);
    folder.write(packed + ".index", "x");
    folder.write(plain + ".keep", "");
    mended(folder);
    CHECK(folder.names() == std::vector<std::string>{plain, plain + ".keep"});
    CHECK(folder.read(plain) == bytes);
  }
  SECTION("the packed one sound, but holding less") {
    const std::string shorter = bytes.substr(0, block_starts(bytes)[1000]);
    folder.write(plain, shorter);
    REQUIRE(pack_segment(folder.path(plain), kGoOn).ok());
    folder.write(plain, bytes);
    mended(folder);
    CHECK(folder.names() == std::vector<std::string>{plain});
    CHECK(folder.read(plain) == bytes);
  }
  SECTION("both sound and different: nobody can say which") {
    folder.write(plain, segment_bytes({9, kStart, 3000, true}));
    folder.write(packed, packed_bytes);
    CHECK(mended(folder).size() == 1);
    CHECK(folder.names() == std::vector<std::string>{plain, packed});
  }
  SECTION("the plain one gone, index missing or left alone") {
    folder.write(packed, packed_bytes);
    folder.write(name_of(1, 2, true) + ".index", "x");
    mended(folder);
    CHECK(folder.names() == std::vector<std::string>{packed});
  }
}
