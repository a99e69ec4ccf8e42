#include <catch2/catch.hpp>

#include "capture_bytes.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {
constexpr std::uint32_t kSeconds = 1'700'000'000;

std::string small_file(bool big, bool nano, unsigned records) {
  std::string bytes = pcap_header(big, nano);
  for (unsigned i = 0; i < records; ++i)
    bytes += pcap_record(big, kSeconds + i, i * 10, can_packet(0x98FF0000 + i, std::string(1 + i % 8, 'a')));
  return bytes;
}
}  // namespace

TEST_CASE("classic pcap: four magic numbers") {
  const bool big = GENERATE(false, true);
  const bool nano = GENERATE(false, true);
  const std::size_t step = GENERATE(std::size_t{0}, std::size_t{5});
  const Seen seen = read_bytes(small_file(big, nano, 300), CaptureFormat::pcap, step, 64);
  const auto packets = seen.packets();
  REQUIRE(packets.size() == 300);
  CHECK(seen.notices<BusInfo>().size() == 1);
  CHECK(seen.notices<BusInfo>()[0].name == "bus0");
  CHECK(seen.notices<Damage>().empty());
  for (unsigned i = 0; i < packets.size(); ++i) {
    CHECK(packets[i].event.number == i + 1);
    CHECK(packets[i].event.id == (0x18FF0000 + i));
    CHECK(packets[i].event.time == (TimeNs{kSeconds} + i) * kSecond + i * 10 * (nano ? 1 : 1000));
    CHECK(packets[i].data == std::string(1 + i % 8, 'a'));
  }
}

TEST_CASE("the upper half of the link type field is not the link type") {
  const std::string bytes = pcap_header(false, true, 0xF4000000u | 227) +
                            pcap_record(false, kSeconds, 1, can_packet(0x98FF0001, "a"));
  CHECK(read_bytes(bytes, CaptureFormat::pcap).packets().size() == 1);
}

TEST_CASE("classic pcap cut at every byte") {
  const std::string whole = small_file(false, true, 6);
  std::size_t complete = 0;
  std::size_t next_end = 24 + 16 + 9;
  for (std::size_t size = 24; size < whole.size(); ++size) {
    if (size == next_end) next_end += 16 + 9 + ++complete;
    const Seen seen = read_bytes(whole.substr(0, size), CaptureFormat::pcap);
    CAPTURE(size);
    CHECK(seen.packets().size() == complete);
    const bool at_boundary = size == 24 || size == next_end - (16 + 9 + complete);
    const auto damage = seen.notices<Damage>();
    CHECK(damage.size() == (at_boundary ? 0 : 1));
    if (!damage.empty()) CHECK(damage[0].offset + damage[0].bytes == size);
  }
}

TEST_CASE("classic pcap with bytes changed, lost and added at every place keeps all but the neighbours") {
  const bool big = GENERATE(false, true);
  const unsigned records = 12;
  const std::string whole = small_file(big, false, records);
  for (std::size_t at = 24; at < whole.size(); ++at) {
    for (int how = 0; how < 4; ++how) {
      std::string bytes = whole;
      if (how == 0) bytes[at] = static_cast<char>(~bytes[at]);
      if (how == 1) bytes[at] = static_cast<char>(bytes[at] ^ 1);
      if (how == 2) bytes.erase(at, 1);
      if (how == 3) bytes.insert(at, 1, '\x55');
      const Seen seen = read_bytes(bytes, CaptureFormat::pcap);
      CAPTURE(at, how);
      unsigned intact = 0;
      for (const SeenEvent& packet : seen.packets()) {
        const std::uint32_t i = packet.event.id & 0xFF;
        intact +=
            i < records && packet.event.id == 0x18FF0000 + i && packet.data == std::string(1 + i % 8, 'a');
      }
      CHECK(intact >= records - 3);
      if (seen.packets().size() < records) CHECK_FALSE(seen.notices<Damage>().empty());
    }
  }
}

TEST_CASE("bytes that are missing within a record cost that record alone") {
  const bool big = GENERATE(false, true);
  const std::size_t step = GENERATE(std::size_t{0}, std::size_t{3});
  constexpr unsigned kRecords = 20, kHit = 9;
  std::string whole = pcap_header(big, true);
  std::size_t begin = 0, end = 0;
  for (unsigned i = 0; i < kRecords; ++i) {
    if (i == kHit) begin = whole.size();
    whole +=
        pcap_record(big, kSeconds + i / 5, 1'000'000 * i, can_packet(0x98FF0000 + i, "\x01\2\3\4\5\6\7\x08"));
    if (i == kHit) end = whole.size();
  }
  for (std::size_t missing = 1; missing <= 4; ++missing)
    for (std::size_t at = begin; at + missing <= end; ++at) {
      std::string bytes = whole;
      bytes.erase(at, missing);
      CAPTURE(missing, at - begin);
      const Seen seen = read_bytes(bytes, CaptureFormat::pcap, step, 64);
      std::vector<std::uint32_t> others;
      unsigned strange = 0;
      for (const SeenEvent& packet : seen.packets()) {
        const std::uint32_t i = packet.event.id - 0x18FF0000;
        const bool is_whole = i < kRecords && i != kHit && packet.data == "\x01\2\3\4\5\6\7\x08" &&
                              packet.event.time == (TimeNs{kSeconds} + i / 5) * kSecond + i * kMillisecond;
        if (is_whole) others.push_back(i);
        strange += !is_whole;
      }
      CHECK(others.size() == kRecords - 1);
      CHECK(strange == 0);
      const auto damage = seen.notices<Damage>();
      REQUIRE(damage.size() == 1);
      CHECK(damage[0].offset == begin);
      CHECK(damage[0].bytes == end - begin - missing);
    }
}

TEST_CASE("zeros in a classic pcap are one damage") {
  const std::string part = small_file(false, true, 5);
  const Seen seen = read_bytes(part + std::string(100'000, '\0') + part.substr(24), CaptureFormat::pcap);
  CHECK(seen.packets().size() == 10);
  const auto damage = seen.notices<Damage>();
  REQUIRE(damage.size() == 1);
  CHECK(damage[0].offset == part.size());
  CHECK(damage[0].bytes == 100'000);
  CHECK(damage[0].reason == "zeros instead of a packet record");
}
