// A recorder that hears nothing but error frames: its bit rate, or its wires.
#include <catch2/catch.hpp>

#include "unit/exam/bus_script.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

BusScript errors(int count, double every_s = 0.1) {
  BusScript script;
  script.notice(0, BusInfo{"can0", 500'000});
  for (int i = 0; i < count; ++i) script.error(1 + i * every_s, 0x08, 0x00);
  return script;
}

}  // namespace

TEST_CASE("Ten error frames and nothing else are a fault of the recorder; nine are not") {
  CHECK(count_faults(errors(9).examine(), "recorder.only-errors") == 0);
  const Conclusions all = errors(10).examine();
  REQUIRE(count_faults(all, "recorder.only-errors") == 1);
  for (const Fault& fault : all.faults) {
    if (fault.code != "recorder.only-errors") continue;
    CHECK(fault.severity == Severity::fault);
    CHECK(fault.bus == BusIndex{0});
    CHECK(after_start_s(fault.start) == Approx(1));
    REQUIRE(fault.end);
    CHECK(after_start_s(*fault.end) == Approx(1.9));
    CHECK(fault.text.find("10 of them") != std::string::npos);
    CHECK(fault.text.find("500000 bit/s") != std::string::npos);
    CHECK(fault.text.find("taken for granted") == std::string::npos);
    REQUIRE(fault.evidence.size() == 2);
    CHECK(fault.evidence[0].at.frame == 1);
    CHECK(fault.evidence[1].at.frame == 10);
  }
}

TEST_CASE("One valid frame of any kind, and it is not the bit rate") {
  CHECK(count_faults(errors(500).frame(3, 0x18FEF100).examine(), "recorder.only-errors") == 0);
  CHECK(count_faults(errors(500).frame(3, 0x123, {1, 2}, 0, 0).examine(), "recorder.only-errors") == 0);
  CHECK(count_faults(errors(500).frame(300, 0x18FEF100, {}, 0, kExtendedId | kRemote).examine(), "recorder.only-errors") == 0);
}

TEST_CASE("Frames on another bus do not excuse this one") {
  auto script = errors(50);
  script.notice(0, BusInfo{"can1", 250'000}, 1);
  script.cyclic(0, 10, 0.1, 0x18FEF101, false, 1);
  const Conclusions all = script.examine();
  CHECK(count_faults(all, "recorder.only-errors") == 1);
}

TEST_CASE("Where the capture does not tell the bit rate the sentence says so") {
  BusScript script;
  for (int i = 0; i < 20; ++i) script.error(i, 0x88, 0x08);
  const Conclusions all = script.examine();
  REQUIRE(count_faults(all, "recorder.only-errors") == 1);
  for (const Fault& fault : all.faults)
    if (fault.code == "recorder.only-errors") CHECK(fault.text.find("250000 bit/s, taken for granted") != std::string::npos);
}

TEST_CASE("A hundred thousand error frames over an hour are one fault with both ends") {
  const Conclusions all = errors(100'000, 0.036).examine(4096);
  REQUIRE(count_faults(all, "recorder.only-errors") == 1);
  for (const Fault& fault : all.faults)
    if (fault.code == "recorder.only-errors") {
      CHECK(after_start_s(fault.start) == Approx(1));
      CHECK(after_start_s(*fault.end) == Approx(1 + 99'999 * 0.036));
    }
}

TEST_CASE("Hundreds of bursts with pauses between them are one fault that reaches to the last of them") {
  BusScript script;
  for (int i = 0; i < 600; ++i) script.error(i * 20.0, 0x08, 0);
  const Conclusions all = script.examine();
  REQUIRE(count_faults(all, "recorder.only-errors") == 1);
  for (const Fault& fault : all.faults)
    if (fault.code == "recorder.only-errors") CHECK(after_start_s(*fault.end) == Approx(599 * 20.0));
}
