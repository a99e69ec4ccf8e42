#include "record/keep_marks.hpp"

#include "record/folder_listing.hpp"
#include "record/packer.hpp"
#include "recording.hpp"

using namespace tramlog;
using namespace tramlog::test;

TEST_CASE("A keep file goes by the segment, plain or packed") {
  CHECK(keep_name({123, 7, kStart, false}) == "run-000123-0007-20261126T031500Z.pcapng.keep");
  CHECK(keep_name({123, 7, kStart, true}) == "run-000123-0007-20261126T031500Z.pcapng.keep");
  for (const char* name :
       {"run-000123-0007-20261126T031500Z.pcapng.keep", "run-000123-0007-20261126T031500Z.pcapng.zst.keep"}) {
    const auto parsed = parse_keep_name(name);
    REQUIRE(parsed);
    CHECK(parsed->run == 123);
    CHECK(parsed->segment == 7);
  }
  CHECK_FALSE(parse_keep_name("run-000123-0007-20261126T031500Z.pcapng"));
  CHECK_FALSE(parse_keep_name("x.keep"));
}

TEST_CASE("Marks are added, not repeated; people's lines stay; there is an end to it") {
  const Folder folder;
  const SegmentName segment{1, 1, kStart, false};
  const KeepMark mark{kStart, kStart + kMinute, "controller 0x80 silent\nfor 3 s"};
  REQUIRE(add_keep_marks(folder.path(), segment, {mark, mark}).ok());
  const std::string line =
      "2026-11-26T03:15:00.000000000Z 2026-11-26T03:16:00.000000000Z controller 0x80 silent\\x0afor 3 s";
  CHECK(folder.read(keep_name(segment)) == line + "\n");
  folder.write(keep_name(segment), "for the workshop\n" + line);
  REQUIRE(add_keep_marks(folder.path(), segment, {mark, {kStart, kStart, "b"}}).ok());
  CHECK(keep_lines(folder.path(), segment) ==
        std::vector<std::string>{"for the workshop", line,
                                 "2026-11-26T03:15:00.000000000Z 2026-11-26T03:15:00.000000000Z b"});
  for (int i = 0; i < 500; ++i)
    REQUIRE(add_keep_marks(folder.path(), segment, {{kStart, kStart + i, "c"}}).ok());
  CHECK(keep_lines(folder.path(), segment).size() == kMostMarks);
  CHECK(folder.names() == std::vector<std::string>{keep_name(segment)});
  CHECK_FALSE(add_keep_marks(folder.path("none"), segment, {mark}).ok());
}

TEST_CASE("Protection survives packing; an empty file protects") {
  const Folder folder;
  write_segment(folder.path(name_of(1, 1)));
  write_segment(folder.path(name_of(1, 2)));
  folder.write(name_of(1, 1) + ".keep", "");
  const std::atomic<bool> go_on{false};
  REQUIRE(pack_segment(folder.path(name_of(1, 1)), go_on).ok());
  const auto listing = list_folder(folder.path());
  REQUIRE(listing.ok());
  CHECK(listing.value().segments.at({1, 1}).is_kept);
  CHECK(listing.value().segments.at({1, 1}).packed);
  CHECK_FALSE(listing.value().segments.at({1, 2}).is_kept);
}
