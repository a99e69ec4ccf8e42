// Addresses that wander, software that differs, units that were replaced.
#include "unit/exam/check_bench.hpp"

using namespace tramlog;

namespace {

constexpr Pgn kSoftware = 0xFEDA;

void software(ExamBench& b, double seconds, Address source, const std::string& five) {
  ExamBench::Payload bytes{1};
  for (const char c : five + "*") bytes.push_back(static_cast<std::uint8_t>(c));
  while (bytes.size() < 8) bytes.push_back(0xFF);
  b.frame(seconds, make_id(6, kSoftware, source), bytes);
}

Roster roster_of(const std::string& text) {
  auto parsed = parse_roster("machine = \"M\"\n" + text, "r.toml");
  if (!parsed.ok()) FAIL(parsed.error().what);
  return parsed.value();
}

}  // namespace

TEST_CASE("Another address after each start is told with the addresses") {
  ExamBench b;
  b.claim(0.02, kSecondUnit, 0x90);
  b.talks(0.4, 80, 0x90);
  const double starts[] = {0.01, 25, 50};
  for (int i = 0; i < 3; ++i) {
    const auto address = static_cast<Address>(0x80 + i);
    b.claim(starts[i], kFirstUnit, address);
    b.talks(starts[i] + 0.3, i < 2 ? starts[i + 1] - 3 : 80, address);
  }
  const Conclusions all = b.conclude();
  const Fault fault = only(all, "network.address-wandering");
  CHECK(about(all, fault, {kFirstUnit}));
  CHECK(says(fault, "another address 2 times"));
  CHECK(says(fault, "128, 129, 130"));
}

TEST_CASE("One move, or a move after a contest, is no wandering") {
  ExamBench b;
  b.claim(0.01, kFirstUnit, 0x80);
  b.talks(0.4, 20, 0x80);
  b.claim(25, kFirstUnit, 0x81);
  b.talks(25.3, 50, 0x81);
  SECTION("one") {}
  SECTION("the second one by a lower NAME") {
    b.claim(50, ExamBench::unit(1), 0x81);
    b.claim(50.05, kFirstUnit, 0x81);
    b.claim(50.06, ExamBench::unit(1), 0x81);
    b.claim(50.2, kFirstUnit, 0x82);
    b.talks(50.5, 80, 0x82);
  }
  CHECK(none(b.conclude(), "network.address-wandering"));
}

TEST_CASE("Equal units with different software are told, with both texts") {
  ExamBench b = two_talkers(30);
  software(b, 5, 0x80, "1.4.0");
  software(b, 6, 0x81, "1.5.0");
  const Conclusions all = b.conclude();
  const Fault fault = only(all, "software.differs-among-equals");
  CHECK(about(all, fault, {kFirstUnit, kSecondUnit}));
  CHECK(says(fault, "\"1.4.0\""));
  CHECK(says(fault, "\"1.5.0\""));
}

TEST_CASE("The same software, or another function, or another part, is nothing to tell") {
  ExamBench b = two_talkers(30);
  software(b, 5, 0x80, "1.4.0");
  SECTION("same") {
    software(b, 6, 0x81, "1.4.0");
  }
  SECTION("another function") {
    b.claim(1, ExamBench::unit(12, 4, 133), 0x82);
    b.talks(1.4, 30, 0x82);
    software(b, 6, 0x82, "1.5.0");
  }
  SECTION("another part number") {
    software(b, 6, 0x81, "1.5.0");
    b.frame(7, make_id(6, 0xFDC5, 0x80), {'A', '1', '*', '*', '*', '*', '*', 0xFF});
    b.frame(7, make_id(6, 0xFDC5, 0x81), {'B', '2', '*', '*', '*', '*', '*', 0xFF});
  }
  CHECK(none(b.conclude(), "software.differs-among-equals"));
}

TEST_CASE("A unit with another identity number than the roster's is told as replaced") {
  const Name old = ExamBench::unit(77);
  const std::string entry = "[[controller]]\nlabel = \"front\"\nname = \"" + old.hex() + "\"\n";
  ExamBench b;
  b.claim(0.01, kFirstUnit, 0x80);  // identity 10, all else as the old one
  b.talks(0.4, 30, 0x80);
  const Conclusions all = b.conclude(roster_of(entry));
  const Fault fault = only(all, "controller.identity-changed");
  CHECK(about(all, fault, {kFirstUnit}));
  CHECK(says(fault, "does the job of front"));
  CHECK(says(fault, "identity number 10"));

  ExamBench other;
  other.claim(0.01, ExamBench::unit(10, 4, 133), 0x80);  // another function
  other.talks(0.4, 30, 0x80);
  CHECK(none(other.conclude(roster_of(entry)), "controller.identity-changed"));
}

TEST_CASE("A software that the roster expects and nobody told is a note with the reason") {
  const std::string entry =
      "[[controller]]\nlabel = \"front\"\nname = { function_instance = 0 }\nsoftware = [\"1.*\"]\n";
  ExamBench b = two_talkers(30);
  SECTION("never asked") {
    const Conclusions all = b.conclude(roster_of(entry));
    const Fault fault = only(all, "controller.software-unknown");
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "never asked"));
    CHECK(fault.severity == Severity::note);
  }
  SECTION("told") {
    software(b, 5, 0x80, "1.4.0");
    CHECK(none(b.conclude(roster_of(entry)), "controller.software-unknown"));
  }
  SECTION("not expected") {
    CHECK(none(b.conclude(roster_of("[[controller]]\nlabel = \"front\"\nname = { function_instance = 0 }\n")),
               "controller.software-unknown"));
  }
}
