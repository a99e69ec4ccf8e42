#include "record/segment_name.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <vector>

using namespace tramlog;

TEST_CASE("A segment's name holds run, segment and the second it began") {
  // 2026-11-26 is 20783 days after 1970; 03:15:00 is 11700 s.
  const TimeNs start = (TimeNs{20783} * 86400 + 11700) * kSecond;
  CHECK(segment_name({123, 7, start + 999'999'999, false}) == "run-000123-0007-20261126T031500Z.pcapng");
  CHECK(segment_name({123, 7, start, true}) == "run-000123-0007-20261126T031500Z.pcapng.zst");
  CHECK(segment_name({1, 2, -1, false}) == "run-000001-0002-19691231T235959Z.pcapng");
  const auto parsed = parse_segment_name("run-000123-0007-20261126T031500Z.pcapng.zst");
  REQUIRE(parsed);
  CHECK(parsed->run == 123);
  CHECK(parsed->segment == 7);
  CHECK(parsed->start == start);
  CHECK(parsed->compressed);
}

TEST_CASE("Numbers grow beyond their width, and every time has a name") {
  CHECK(segment_name({4294967295u, 4294967295u, 0, false}) ==
        "run-4294967295-4294967295-19700101T000000Z.pcapng");
  for (const TimeNs time : {INT64_MIN, INT64_MIN + kSecond, TimeNs{-1}, TimeNs{0}, INT64_MAX}) {
    for (const std::uint32_t number : {0u, 9999u, 10000u, 999999u, 1000000u, 4294967295u}) {
      const std::string name = segment_name({number, number, time, false});
      const auto parsed = parse_segment_name(name);
      INFO(name);
      REQUIRE(parsed);
      CHECK(parsed->run == number);
      CHECK(parsed->segment == number);
      CHECK(parsed->start <= std::max(time, INT64_MIN + kSecond));
      CHECK(segment_name(*parsed) == name);
    }
  }
}

TEST_CASE("What would not be written so is none of ours") {
  for (const char* name :
       {"", "run-", "run-000123-0007-20261126T031500Z.pcap",
        "run-000123-0007-20261126T031500Z.pcapng.zst.part", "run-000123-0007-20261126T031500Z.pcapng.keep",
        "run-00123-0007-20261126T031500Z.pcapng", "run-0000123-0007-20261126T031500Z.pcapng",
        "run-000123-007-20261126T031500Z.pcapng", "run-000123-0007-20260230T031500Z.pcapng",
        "run-000123-0007-20261126T241500Z.pcapng", "run-000123-0007-20261126T031560Z.pcapng",
        "run-000123-0007-20261126T031500.pcapng", "run-4294967296-0007-20261126T031500Z.pcapng",
        "run-99999999999999999999999-0007-20261126T031500Z.pcapng", "run-000123-0007-99991126T031500Z.pcapng",
        "run-+00123-0007-20261126T031500Z.pcapng", "xrun-000123-0007-20261126T031500Z.pcapng"}) {
    INFO(name);
    CHECK_FALSE(parse_segment_name(name));
  }
}
