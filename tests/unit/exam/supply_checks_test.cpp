// Trouble codes at once and again, supply voltages, the key, lost sources.
#include "unit/exam/check_bench.hpp"

using namespace tramlog;

namespace {

const Name kThirdUnit = ExamBench::unit(12, 4, 133);

void code(ExamBench& b, double seconds, Address source, unsigned spn, unsigned fmi) {
  b.frame(seconds, make_id(6, 0xFECA, source),
          {0xFF, 0xFF, static_cast<std::uint8_t>(spn), static_cast<std::uint8_t>(spn >> 8),
           static_cast<std::uint8_t>(spn >> 16 << 5 | fmi), 1, 0xFF, 0xFF});
}
void clear(ExamBench& b, double seconds, Address source) {
  b.frame(seconds, make_id(6, 0xFECA, source), {0xFF, 0xFF, 0, 0, 0, 0, 0xFF, 0xFF});
}
/// PGN 65271 every second; bytes 5-6, 0.05 V a bit.
void volts(ExamBench& b, double from, double to, Address source, double value) {
  const auto raw = static_cast<unsigned>(value / 0.05 + 0.5);
  b.every(1, from + 0.001 * source, to, 0xFEF7, source,
          {0xFF, 0xFF, 0xFF, 0xFF, static_cast<std::uint8_t>(raw), static_cast<std::uint8_t>(raw >> 8), 0xFF,
           0xFF});
}
ExamBench three_talkers(double until) {
  ExamBench b = two_talkers(until);
  b.claim(0.03, kThirdUnit, 0x82);
  b.talks(0.4, until, 0x82);
  return b;
}

}  // namespace

TEST_CASE("New codes of three controllers within seconds are one event") {
  ExamBench b = three_talkers(60);
  SECTION("within 2 s") {
    code(b, 30, 0x80, 1208, 3);
    code(b, 31, 0x81, 1208, 4);
    code(b, 32, 0x82, 1208, 3);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "diagnostics.many-at-once");
    CHECK(about(all, fault, {kFirstUnit, kSecondUnit, kThirdUnit}));
    CHECK(says(fault, "3 controllers reported 3 new trouble codes within 2.00 s, all of them SPN 1208"));
  }
  SECTION("spread over 20 s") {
    code(b, 30, 0x80, 1208, 3);
    code(b, 40, 0x81, 1208, 4);
    code(b, 50, 0x82, 1208, 3);
    CHECK(none(b.conclude(), "diagnostics.many-at-once"));
  }
  SECTION("right after the start: they were there before") {
    code(b, 3, 0x80, 1208, 3);
    code(b, 3.5, 0x81, 1208, 4);
    code(b, 4, 0x82, 1208, 3);
    CHECK(none(b.conclude(), "diagnostics.many-at-once"));
  }
  SECTION("three of one controller") {
    for (unsigned i = 0; i < 3; ++i) code(b, 30 + i * 0.1, 0x80, 1208 + i, 3);
    CHECK(none(b.conclude(), "diagnostics.many-at-once"));
  }
}

TEST_CASE("A code that comes and goes three times is intermittent") {
  ExamBench b = two_talkers(90);
  const auto spell = [&](double from) {
    for (int i = 0; i < 4; ++i) code(b, from + i, 0x80, 1208, 5);
    clear(b, from + 4, 0x80);
  };
  spell(20);
  spell(40);
  SECTION("three times") {
    spell(70);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "diagnostics.intermittent");
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "3 times, 20.0 s to 30.0 s after each other"));
    CHECK(fault.evidence.size() == 3);
  }
  SECTION("twice") {
    CHECK(none(b.conclude(), "diagnostics.intermittent"));
  }
}

TEST_CASE("Low supply voltage by measurement and by code; a short dip is none") {
  ExamBench b = two_talkers(90);
  SECTION("11 V for 20 s") {
    volts(b, 1, 40, 0x80, 13.6);
    volts(b, 40, 60, 0x80, 11.0);
    volts(b, 60, 90, 0x80, 13.6);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "supply.voltage-low");
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "down to 11.0 V"));
    CHECK(near(fault.start, 40, 1.2));
  }
  SECTION("22 V where 28 V are usual") {
    volts(b, 1, 40, 0x80, 28);
    volts(b, 40, 60, 0x80, 22);
    CHECK(says(only(b.conclude(), "supply.voltage-low"), "down to 22.0 V"));
  }
  SECTION("a code") {
    code(b, 50, 0x81, 168, 18);
    const Conclusions all = b.conclude();
    CHECK(about(all, only(all, "supply.voltage-low"), {kSecondUnit}));
  }
  SECTION("3 s, 24.5 V, and voltage too high") {
    volts(b, 1, 40, 0x80, 13.6);
    volts(b, 40, 43, 0x80, 11.0);
    volts(b, 43, 90, 0x80, 13.6);
    volts(b, 1, 90, 0x81, 24.5);
    code(b, 50, 0x81, 168, 3);
    CHECK(none(b.conclude(), "supply.voltage-low"));
  }
}

TEST_CASE("A sag while the engine starts belongs to cranking") {
  ExamBench b = two_talkers(60);
  b.engine(1, 29, 0, 0x81);
  b.engine(29, 60, 800, 0x81);
  volts(b, 1, 26.5, 0x80, 12.5);
  SECTION("8 V and a code") {
    volts(b, 26.5, 30, 0x80, 8.0);
    volts(b, 30, 60, 0x80, 13.8);
    code(b, 28, 0x81, 168, 1);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "supply.voltage-sags-at-cranking");
    CHECK(about(all, fault, {kFirstUnit, kSecondUnit}));
    CHECK(says(fault, "down to 8.0 V"));
    CHECK(none(all, "supply.voltage-low"));
  }
  SECTION("10.5 V is what a starter does") {
    volts(b, 26.5, 30, 0x80, 10.5);
    volts(b, 30, 60, 0x80, 13.8);
    CHECK(none(b.conclude(), "supply.voltage-sags-at-cranking"));
  }
}

TEST_CASE("Two controllers that tell different voltages at the same time") {
  ExamBench b = two_talkers(60);
  volts(b, 1, 60, 0x81, 13.6);
  SECTION("1.6 V less") {
    volts(b, 1, 60, 0x80, 12.0);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "supply.voltage-differs");
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "up to 1.6 V less"));
  }
  SECTION("0.5 V less, or for 5 s only") {
    volts(b, 1, 30, 0x80, 13.1);
    volts(b, 30, 35, 0x80, 12.0);
    volts(b, 35, 60, 0x80, 13.1);
    CHECK(none(b.conclude(), "supply.voltage-differs"));
  }
}

TEST_CASE("Turning the key off is a note; a key that stands off is none") {
  ExamBench b = two_talkers(60);
  SECTION("off and on") {
    b.key(1, 20, true);
    b.key(20, 30, false);
    b.key(30, 60, true);
    const Fault fault = only(b.conclude(), "machine.key-off");
    CHECK(fault.severity == Severity::note);
    CHECK(says(fault, "on again after 10.0 s"));
  }
  SECTION("on for all the time, or off from the beginning") {
    b.key(1, 20, false);
    b.key(20, 60, true);
    CHECK(none(b.conclude(), "machine.key-off"));
  }
}

TEST_CASE("A speed source that is lost is told without any implement at work") {
  ExamBench b = two_talkers(90);
  const ExamBench::Payload driving{0xB8, 0x0B, 0, 0, 0, 0, 0xFF, 0xF5};  // 3 m/s, key on
  b.every(0.1, 1.05, 90, 0xFE49, 0x80, driving);                         // the ground-based speed goes on
  SECTION("missing for 10 s while its sender goes on") {
    b.every(0.1, 1, 40, 0xFE48, 0x81, driving);
    b.every(0.1, 50, 90, 0xFE48, 0x81, driving);
    CHECK(only(b.conclude(), "speed.source-lost").severity == Severity::warning);
  }
  SECTION("never missing") {
    b.every(0.1, 1, 90, 0xFE48, 0x81, driving);
    CHECK(none(b.conclude(), "speed.source-lost"));
  }
}
