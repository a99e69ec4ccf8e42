// Each check of the network and of the capture, through the whole examiner.
#include "unit/exam/bench.hpp"

using namespace tramlog;

namespace {
const Name kLow = ExamBench::unit(10), kHigh = ExamBench::unit(11, 4, 128, 1);

ExamBench two_units(double until = 40) {
  ExamBench b;
  b.claim(0.01, kLow, 0x80);
  b.claim(0.02, kHigh, 0x81);
  b.talks(0.4, until, 0x80);
  b.talks(0.4, until, 0x81);
  return b;
}

Fault only(const Conclusions& all, const std::string& code) {
  const auto faults = faults_of(all, code);
  if (faults.size() != 1) FAIL(code << " told " << faults.size() << " times");
  return faults.front();
}
bool says(const Fault& fault, const std::string& words) {
  UNSCOPED_INFO(fault.text);
  return fault.text.find(words) != std::string::npos;
}
}  // namespace

TEST_CASE("A contest over an address: warning if the loser moved, fault if it did not") {
  ExamBench b = two_units();
  const Name late = ExamBench::unit(12, 4, 128, 2);
  b.claim(20, late, 0x80);
  b.claim(20.05, kLow, 0x80);
  SECTION("moved") {
    b.claim(20.2, late, 0x85);
    const Fault fault = only(b.conclude(), "network.address-contest");
    CHECK(fault.severity == Severity::warning);
    CHECK(says(fault, "instead"));
  }
  SECTION("cannot claim") {
    b.claim(20.2, late, kNullAddress);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "network.address-contest");
    CHECK(fault.severity == Severity::fault);
    CHECK(says(fault, "could not claim an address"));
    CHECK(only(all, "network.cannot-claim").severity == Severity::fault);
    CHECK(controller_of(all, late).state == ControllerState::refused);
    CHECK(findings_of(all, "network.address-conflict").size() == 1);
  }
  SECTION("insists") {
    for (int i = 1; i < 4; ++i) {
      b.claim(20 + i * 0.2, late, 0x80);
      b.claim(20.05 + i * 0.2, kLow, 0x80);
    }
    CHECK(says(only(b.conclude(), "network.address-contest"), "did not give way"));
  }
}

TEST_CASE("Taking a dead unit's address is told as its loss, not as a contest") {
  ExamBench b;
  b.claim(0.01, kLow, 0x80);
  b.claim(0.02, ExamBench::unit(13), 0x81);
  b.talks(0.4, 30, 0x80);
  b.talks(0.4, 100, 0x81);
  b.claim(60, kHigh, 0x80);
  b.talks(60.3, 100, 0x80);
  const Conclusions all = b.conclude();
  CHECK(faults_of(all, "network.address-contest").empty());
  CHECK(controller_of(all, kLow).state == ControllerState::lost);
  CHECK(controller_of(all, kHigh).state == ControllerState::present);
  REQUIRE(all.dropouts.size() == 1);
  CHECK(near(all.dropouts[0].start.time, 30));
}

TEST_CASE("One NAME at two addresses: the old address goes on talking") {
  ExamBench b = two_units();
  b.claim(20, kLow, 0x90);  // a second box; 0x80 is not quiet
  b.talks(20.3, 40, 0x90);
  const Conclusions all = b.conclude();
  const Fault fault = only(all, "network.duplicate-name");
  CHECK(fault.severity == Severity::fault);
  CHECK(says(fault, "goes on talking"));
  CHECK(findings_of(all, "network.equal-units").size() == 1);
}

TEST_CASE("A unit that moves and leaves its address quiet is no duplicate") {
  ExamBench b;
  b.claim(0.01, kLow, 0x80);
  b.talks(0.4, 20, 0x80);
  b.claim(20, kLow, 0x90);
  b.frame(20.1, make_id(6, 0xFF80, 0x80), ExamBench::Payload(8, 0x5A));  // was queued
  b.talks(20.3, 60, 0x90);
  const Conclusions all = b.conclude();
  CHECK(faults_of(all, "network.duplicate-name").empty());
  CHECK(all.dropouts.empty());
}

TEST_CASE("The same NAME claimed twice within 250 ms: perhaps two boxes, and no restart") {
  ExamBench b = two_units();
  b.claim(20, kLow, 0x80);
  b.claim(20.1, kLow, 0x80);
  const Conclusions all = b.conclude();
  CHECK(only(all, "network.duplicate-name").severity == Severity::warning);
  CHECK(faults_of(all, "controller.restarted").empty());
}

TEST_CASE("A claim nobody asked for is a restart; an answer is none") {
  ExamBench b = two_units();
  SECTION("restart") {
    b.claim(20, kLow, 0x80);
    CHECK(says(only(b.conclude(), "controller.restarted"), "started again"));
  }
  SECTION("answers to a global and a specific request") {
    b.ask(20, kPgnAddressClaimed, 0x81);
    b.claim(20.02, kLow, 0x80);
    b.ask(30, kPgnAddressClaimed, 0x81, 0x80);
    b.claim(30.02, kLow, 0x80);
    CHECK(b.conclude().faults.empty());
  }
}

TEST_CASE("Commanded addresses, claims of a wrong length, strangers and unclaimed voices") {
  ExamBench b = two_units();
  SECTION("claim of seven bytes") {
    b.frame(5, make_id(6, kPgnAddressClaimed, 0x80), ExamBench::Payload(7));
    CHECK(says(only(b.conclude(), "network.malformed-claim"), "1 address claim"));
  }
  SECTION("11-bit, remote, FD and foreign") {
    b.frame(5, 0x123, {1, 2}, 0, 0);
    b.frame(6, make_id(6, 0xFF01, 0x80), {}, 0, kExtendedId | kRemote);
    b.frame(7, make_id(6, 0xFF01, 0x80), ExamBench::Payload(64), 0, kExtendedId | kFd);
    const Conclusions all = b.conclude();
    CHECK(all.buses[0].eleven_bit == 1);
    CHECK(all.buses[0].remote == 1);
    CHECK(all.buses[0].fd == 1);
    CHECK(only(all, "bus.not-iso11783").severity == Severity::note);
    CHECK(all.unclaimed.empty());
  }
  SECTION("a voice without a claim") {
    b.talks(20, 40, 0x99);
    CHECK(only(b.conclude(), "network.unclaimed").severity == Severity::warning);
  }
  SECTION("commanded address, obeyed") {
    // Nine bytes go by BAM.
    b.frame(20, make_id(7, 0xEC00, 0x81, 0xFF), {32, 9, 0, 2, 0xFF, 0xD8, 0xFE, 0});
    ExamBench::Payload bytes;
    for (unsigned i = 0; i < 8; ++i) bytes.push_back(static_cast<std::uint8_t>(kLow.raw() >> 8 * i));
    b.frame(20.06, make_id(7, 0xEB00, 0x81, 0xFF),
            {1, bytes[0], bytes[1], bytes[2], bytes[3], bytes[4], bytes[5], bytes[6]});
    b.frame(20.12, make_id(7, 0xEB00, 0x81, 0xFF), {2, bytes[7], 0x92, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    CHECK(only(b.conclude(), "network.address-commanded").severity == Severity::warning);
    b.claim(21, kLow, 0x92);
    CHECK(only(b.conclude(), "network.address-commanded").severity == Severity::note);
  }
}

TEST_CASE("Error frames close together are one burst, with the worst counters") {
  ExamBench b = two_units();
  for (int i = 0; i < 5; ++i)
    b.error(20 + i * 0.1, 0x8, {0, 0, 4, 0, 0, 0, 0, static_cast<std::uint8_t>(i * 8)});
  b.error(30, 0x4, {0, 0x40, 0, 0, 0, 0, 0, 0});
  const Conclusions all = b.conclude();
  const auto bursts = faults_of(all, "bus.error-frames");
  REQUIRE(bursts.size() == 2);
  CHECK(says(bursts[0], "5 error frames"));
  CHECK(says(bursts[0], "counter up to 32"));
  CHECK(bursts[0].severity == Severity::note);  // nobody came near error-passive
  CHECK(bursts[1].severity == Severity::note);
  CHECK(all.error_frames == 6);
}

TEST_CASE("Error frames that can make a sender error-passive, or that come again and again, are a warning") {
  const auto severity = [](int bursts, int frames) {
    ExamBench b = two_units();
    for (int k = 0; k < bursts; ++k)
      for (int i = 0; i < frames; ++i) b.error(20 + k * 5 + i * 0.01, 0x8, {0, 0, 4, 0, 0, 0, 0, 0});
    return faults_of(b.conclude(), "bus.error-frames").front().severity;
  };
  CHECK(severity(1, 15) == Severity::note);
  CHECK(severity(1, 16) == Severity::warning);
  CHECK(severity(4, 3) == Severity::note);
  CHECK(severity(5, 3) == Severity::warning);
}

TEST_CASE("Memory caps that are hit are told in the report") {
  ExamBench b;
  SECTION("streams") {
    for (unsigned i = 0; i < 16500; ++i)
      b.frame(i * 1e-4, make_id(6, 0xFF00 + i % 256, static_cast<Address>(i / 256)), {1});
  }
  SECTION("controllers") {
    for (unsigned i = 0; i < 1100; ++i) b.claim(i * 0.001, Name(i + 1), static_cast<Address>(i % 250));
  }
  SECTION("trouble codes") {
    for (unsigned i = 0; i < 200; ++i)
      b.frame(i * 0.1, make_id(6, 0xFECA, 0x80),
              {0x04, 0xFF, static_cast<std::uint8_t>(i), 0x10, 0x03, 0x01, 0xFF, 0xFF});
  }
  SECTION("buses") {
    for (BusIndex bus = 60; bus < 80; ++bus) b.frame(bus, make_id(6, 0xFF00, 0x80), {1}, bus);
  }
  const Conclusions all = b.conclude();
  REQUIRE_FALSE(faults_of(all, "examiner.limit-reached").empty());
  CHECK(something_wrong(all));
}

TEST_CASE("Frames of a bus beyond the cap are nobody's frames on another bus") {
  ExamBench b;
  b.claim(0.01, kLow, 0x80);
  b.talks(0.4, 10, 0x80);
  b.talks(0.4, 10, 0x80, 64);
  const Conclusions all = b.conclude();
  CHECK(controller_of(all, kLow).frames < 110);
  CHECK(all.frames > 190);
}
