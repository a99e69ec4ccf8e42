#include <catch2/catch.hpp>

#include "capture_bytes.hpp"
#include "io/socketcan_packet.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {
Event decoded(const std::string& packet, std::uint32_t original = 0) {
  // A copy that ends where the packet ends, for the address sanitizer.
  static std::vector<std::uint8_t> held;
  held.assign(packet.begin(), packet.end());
  Event event;
  socketcan::decode(held.data(), static_cast<std::uint32_t>(held.size()),
                    original != 0 ? original : static_cast<std::uint32_t>(held.size()), event);
  return event;
}
}  // namespace

TEST_CASE("classic frames, 29 and 11 bits") {
  const Event extended = decoded(can_packet(0x98EEFFF0, "12345678"));
  CHECK(extended.kind == EventKind::frame);
  CHECK(extended.id == 0x18EEFFF0);
  CHECK(extended.len == 8);
  CHECK(extended.flags == kExtendedId);
  CHECK(extended.data[7] == '8');

  const Event standard = decoded(can_packet(0x000007FF, "ab"));
  CHECK(standard.id == 0x7FF);
  CHECK(standard.flags == 0);
  CHECK(standard.len == 2);
  CHECK(decoded(can_packet(0x12345678, "")).id == 0x678);
}

TEST_CASE("padding behind the payload is not payload") {
  CHECK(decoded(can_packet(0x98EAFFFE, std::string("\0\xEE\0\0\0\0\0\0", 8), 3)).len == 3);
}

TEST_CASE("remote frames carry only a length") {
  const Event bare = decoded(can_packet(0xD8EA0001, "", 3));
  CHECK(bare.kind == EventKind::frame);
  CHECK(bare.flags == (kExtendedId | kRemote));
  CHECK(bare.len == 3);
  CHECK(bare.data[2] == 0);  // may be looked at
  CHECK(decoded(can_packet(0xD8EA0001, std::string(8, '\0'), 15)).len == 8);
}

TEST_CASE("error frames") {
  const Event error = decoded(can_packet(0x20000004, std::string("\0\x10\0\0\0\0\0\x80", 8)));
  CHECK(error.kind == EventKind::error);
  CHECK(error.id == 4);
  CHECK(error.len == 8);
  CHECK(error.data[1] == 0x10);
  CHECK(error.flags == 0);
  const Event cut = decoded(can_packet(0x20000004, "abc", 8));
  CHECK(cut.len == 3);
  CHECK(cut.flags == kShortData);
}

TEST_CASE("FD frames by flag and by size") {
  const Event flagged = decoded(can_packet(0x98FF0001, std::string(20, 'x'), 20, 0x07));
  CHECK(flagged.flags == (kExtendedId | kFd | kBitRateSwitch | kErrorState));
  CHECK(flagged.len == 20);
  const Event sized = decoded(can_packet(0x98FF0001, std::string(64, 'x'), 64));
  CHECK(sized.flags == (kExtendedId | kFd));
  CHECK(sized.len == 64);
  const Event too_long = decoded(can_packet(0x98FF0001, std::string(70, 'x'), 0x7F, 0x04));
  CHECK(too_long.len == 64);
  CHECK((too_long.flags & kShortData) != 0);
}

TEST_CASE("fewer bytes than told") {
  const Event cut = decoded(can_packet(0x98FF0001, "abc", 8));
  CHECK(cut.len == 3);
  CHECK(cut.flags == (kExtendedId | kShortData));
  const Event no_such_length = decoded(can_packet(0x98FF0001, std::string(20, 'x'), 12));
  CHECK(no_such_length.len == 8);
  CHECK((no_such_length.flags & kShortData) != 0);
}

TEST_CASE("what is no frame") {
  CHECK(decoded(can_packet(0x98FF0001, std::string(20, 'x'), 0x81)).kind == EventKind::foreign);
  CHECK(decoded("1234567").kind == EventKind::foreign);
  CHECK(decoded(can_packet(0x98FF0001, "12345678"), 7).kind == EventKind::foreign);
}
