// Dropouts, the three silences, and everything that is quiet without being gone.
#include <catch2/catch.hpp>
#include <random>

#include "report/format.hpp"
#include "unit/exam/bus_script.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {
constexpr std::uint32_t kA = make_id(6, 0xFF01, 0x80), kA2 = make_id(6, 0xFF02, 0x80),
                        kB = make_id(6, 0xFF01, 0x81);
constexpr std::uint32_t kSpeed = make_id(3, 0xFE48, 0xF0);

Payload speed(bool key_on) {
  return {0, 0, 0, 0, 0, 0, 5, static_cast<std::uint8_t>(key_on ? 0xF5 : 0xF1)};
}

// Two controllers at 10 Hz; B is left to the test.
BusScript two(double until) {
  BusScript bus;
  bus.claim(0.1, 0x80, kNameA).claim(0.15, 0x81, kNameB).cyclic(0.5, until, 0.1, kA);
  return bus;
}
}  // namespace

TEST_CASE("a dropout lasts from the last frame to the first frame after") {
  auto bus = two(60);
  bus.cyclic(0.52, 30, 0.1, kB).cyclic(34.52, 60, 0.1, kB);
  const Conclusions found = bus.examine();
  REQUIRE(found.dropouts.size() == 1);
  const Dropout& d = found.dropouts[0];
  CHECK(found.controllers[*d.controller].name.raw() == kNameB);
  CHECK(after_start_s(d.start.time) == Approx(29.92));
  CHECK(after_start_s(d.end->time) == Approx(34.52));
  CHECK(!d.reclaimed);
  CHECK(d.kind == DropoutKind::controller);
  CHECK(d.messages_missed == 46);
  CHECK(found.controllers[*d.controller].state == ControllerState::intermittent);
}

TEST_CASE("a new address claim after the silence is told") {
  auto bus = two(60);
  bus.cyclic(0.52, 30, 0.1, kB).claim(33, 0x81, kNameB).cyclic(33.3, 60, 0.1, kB);
  const Conclusions found = bus.examine();
  REQUIRE(found.dropouts.size() == 1);
  CHECK(found.dropouts[0].reclaimed);
  CHECK(after_start_s(found.dropouts[0].end->time) == Approx(33));
}

TEST_CASE("a start-up claim that answers a request by chance is still a start-up claim") {
  auto bus = two(60);
  bus.cyclic(0.52, 30, 0.1, kB).ask_for_claims(32.9).claim(33, 0x81, kNameB).cyclic(33.3, 60, 0.1, kB);
  auto found = bus.examine();
  REQUIRE(found.dropouts.size() == 1);
  CHECK(found.dropouts[0].reclaimed);

  // One that was only cut off answers and goes on with its rhythm at once.
  auto cut = two(60);
  cut.cyclic(0.52, 30, 0.1, kB).ask_for_claims(32.9).claim(33, 0x81, kNameB).cyclic(33.05, 60, 0.1, kB);
  found = cut.examine();
  REQUIRE(found.dropouts.size() == 1);
  CHECK(!found.dropouts[0].reclaimed);
}

TEST_CASE("a quick restart is a dropout too if it claims") {
  auto bus = two(60);
  bus.cyclic(0.52, 30, 0.1, kB).claim(30.5, 0x81, kNameB).cyclic(30.8, 60, 0.1, kB);
  const Conclusions found = bus.examine();
  REQUIRE(found.dropouts.size() == 1);
  CHECK(found.dropouts[0].reclaimed);
  CHECK(after_start_s(found.dropouts[0].start.time) == Approx(29.92));
}

TEST_CASE("a unit that fails again and again is told each time, from the first time on") {
  auto bus = two(140);
  const std::vector<std::pair<double, double>> off = {{9, 11},    {20, 23},   {27, 33},
                                                      {51, 53.5}, {70, 72.5}, {101, 110}};
  double from = 0.52;
  for (const auto& [begin, end] : off) {
    bus.cyclic(from, begin, 0.2, kB);
    from = end;
  }
  bus.cyclic(from, 140, 0.2, kB);
  CHECK(bus.examine().dropouts.size() == off.size());
}

TEST_CASE("who speaks to one controller only is not gone when that one is") {
  BusScript bus;
  bus.claim(0.1, 0x80, kNameA).claim(0.15, 0x81, kNameB).cyclic(0.5, 60, 0.1, make_id(6, 0xFF01, 0x82));
  bus.cyclic(0.5, 30, 0.1, kA).cyclic(36, 60, 0.1, kA);
  const auto to_a = make_id(6, 0xCB00, 0x81, 0x80), status = make_id(6, 0xFF09, 0x81);
  bus.cyclic(0.6, 30.2, 0.4, to_a).cyclic(36.5, 60, 0.4, to_a).cyclic(0.7, 60, 2, status);
  const Conclusions found = bus.examine();
  REQUIRE(found.dropouts.size() == 1);
  CHECK(found.controllers[*found.dropouts[0].controller].name.raw() == kNameA);
}

TEST_CASE("a recording without claims calls nobody missing") {
  BusScript bus;
  bus.cyclic(0, 30, 0.1, kA).cyclic(0, 30, 0.1, kB);
  const auto roster = parse_roster("[[controller]]\nlabel = \"a\"\nname = { function = 128 }\n", "r.toml");
  const Conclusions found = bus.examine(64, roster.value());
  REQUIRE(found.rollcall);
  CHECK(found.rollcall->entries[0].state == EntryState::ambiguous);
  // Asked, and no answer: these voices are not it.
  BusScript asked;
  asked.cyclic(0, 30, 0.1, kA).ask_for_claims(10);
  CHECK(asked.examine(64, roster.value()).rollcall->entries[0].state == EntryState::missing);
}

TEST_CASE("a slow message does not hide a dropout") {
  auto bus = two(120);
  bus.cyclic(0.52, 60, 0.1, kB).cyclic(72, 120, 0.1, kB);
  const auto slow = make_id(6, 0xFF07, 0x81);
  bus.cyclic(1, 60, 10, slow).cyclic(80, 120, 10, slow);
  const Conclusions found = bus.examine();
  REQUIRE(found.dropouts.size() == 1);
  CHECK(after_start_s(found.dropouts[0].end->time) == Approx(72));
}

TEST_CASE("a message that ends under a living controller is no dropout") {
  auto bus = two(60);
  bus.cyclic(0.52, 60, 0.2, kB).cyclic(0.53, 30, 0.05, make_id(6, 0xFF05, 0x81));
  const Conclusions found = bus.examine();
  CHECK(found.dropouts.empty());
  CHECK(count_faults(found, "controller.message-stopped") == 1);
}

TEST_CASE("who went together is one group") {
  auto bus = two(60);
  const auto c = make_id(6, 0xFF01, 0x82);
  bus.claim(0.2, 0x82, kNameC).cyclic(0.52, 30, 0.1, kB).cyclic(0.54, 30, 0.1, c);
  bus.cyclic(35, 60, 0.1, kB).cyclic(36, 60, 0.1, c);
  Conclusions found = bus.examine();
  REQUIRE(found.dropouts.size() == 2);
  REQUIRE(found.dropouts[0].group);
  CHECK(found.dropouts[0].group == found.dropouts[1].group);

  auto apart = two(60);
  apart.claim(0.2, 0x82, kNameC).cyclic(0.52, 30, 0.1, kB).cyclic(0.54, 32, 0.1, c);
  apart.cyclic(35, 60, 0.1, kB).cyclic(36, 60, 0.1, c);
  found = apart.examine();
  REQUIRE(found.dropouts.size() == 2);
  CHECK(!found.dropouts[0].group);
}

TEST_CASE("heard only on request, on change or in bursts is never called dropped") {
  std::mt19937 random(1);
  const auto uniform = [&](double low, double high) {
    return low + (high - low) * static_cast<double>(random() % 10000) / 10000.0;
  };
  SECTION("on request") {
    auto bus = two(400);
    for (double at = 3; at < 100; at += 20)
      bus.frame(at, make_id(6, kPgnRequest, 0x80, 0x81), {0x40, 0xFF, 0x00}).frame(at + 0.02, kB);
    CHECK(bus.examine().dropouts.empty());
  }
  SECTION("on change, at random") {
    auto bus = two(900);
    double at = 3;
    std::uint8_t value = 0;
    while (at < 400) {
      bus.frame(at, kB, Payload(8, ++value));
      at += 0.1 - 2.0 * std::log(uniform(0.0001, 1));
    }
    CHECK(bus.examine().dropouts.empty());
  }
  SECTION("a lever that is moved now and then: 20 Hz while it moves") {
    auto bus = two(900);
    std::uint8_t value = 0;
    for (const auto& [from, length] :
         std::vector<std::pair<double, double>>{{5, 6}, {40, 12}, {200, 3}, {500, 15}})
      for (double at = from; at < from + length; at += 0.05) bus.frame(at, kB, Payload(8, ++value));
    CHECK(bus.examine().dropouts.empty());
  }
  SECTION("bursts with a long pause now and then") {
    auto bus = two(900);
    double at = 2;
    while (at < 600) {
      for (int i = 0; i < 70; ++i) bus.frame(at += 0.01, kB, Payload(8, 0x22));
      at += uniform(20, 60);
    }
    CHECK(bus.examine().dropouts.empty());
  }
}

TEST_CASE("three silences: the bus stopped, the recorder stopped, nobody can tell") {
  const auto both = [](double gap_from, double gap_to) {
    BusScript bus;
    bus.claim(0.1, 0x80, kNameA).claim(0.15, 0x81, kNameB);
    for (const auto id : {kA, kB}) bus.cyclic(0.5, gap_from, 0.1, id).cyclic(gap_to, 60, 0.1, id);
    return bus;
  };
  SECTION("statistics go on and stand still: the bus") {
    auto bus = both(30, 36);
    bus.statistics(0, 60);
    const Conclusions found = bus.examine();
    REQUIRE(found.silences.size() == 1);
    CHECK(found.silences[0].verdict == BusSilence::Verdict::silent);
    REQUIRE(found.dropouts.size() == 2);
    for (const Dropout& d : found.dropouts) {
      CHECK(d.kind == DropoutKind::bus_silent);
      CHECK(!d.cause_unknown);
    }
    CHECK(found.buses[0].blind.empty());
  }
  SECTION("statistics are missing too: the recorder") {
    auto bus = both(30, 36);
    bus.statistics(0, 30).statistics(36, 60);
    const Conclusions found = bus.examine();
    CHECK(found.dropouts.empty());
    REQUIRE(found.buses[0].blind.size() == 1);
    CHECK(count_faults(found, "recorder.blind") == 1);
    for (const auto& c : found.controllers) CHECK(c.state == ControllerState::present);
  }
  SECTION("no statistics at all: unknown") {
    auto bus = both(30, 36);
    const Conclusions found = bus.examine();
    REQUIRE(found.silences.size() == 1);
    CHECK(found.silences[0].verdict == BusSilence::Verdict::unknown);
    for (const Dropout& d : found.dropouts) CHECK(d.cause_unknown);
    for (const auto& c : found.controllers) CHECK(c.state == ControllerState::present);
  }
  SECTION("the kernel dropped frames: the recorder") {
    auto bus = both(30, 36);
    for (int second = 0; second <= 60; ++second)
      bus.notice(second,
                 Counters{std::nullopt, 0, second > 30 ? (second < 36 ? 20u * (second - 30) : 120u) : 0u});
    const Conclusions found = bus.examine();
    CHECK(found.dropouts.empty());
    REQUIRE(found.buses[0].blind.size() == 1);
    CHECK(found.buses[0].blind[0].frames_lost == 120);
  }
  SECTION("drop counts of packet and statistics are not added up") {
    auto bus = both(30, 33);
    for (int second = 0; second <= 60; ++second)
      bus.notice(second + 0.001, Counters{std::nullopt, 0, second > 31 ? 60u : 0u});
    bus.notice(32.9999, FramesLost{60});
    const Conclusions found = bus.examine();
    std::uint64_t lost = 0;
    for (const auto& span : found.buses[0].blind) lost += span.frames_lost.value_or(0);
    CHECK(lost == 60);
    CHECK(found.dropouts.empty());
  }
  SECTION("bus-off until restarted: the recorder") {
    auto bus = both(30, 36);
    bus.error(30.0, 0x40, 0).error(35.9, 0x100, 0).statistics(0, 60);
    const Conclusions found = bus.examine();
    CHECK(found.dropouts.empty());
    REQUIRE(!found.buses[0].blind.empty());
  }
  SECTION("the link was down: the recorder") {
    auto bus = both(30, 36);
    bus.notice(30.0, LinkChange{LinkState::down}).notice(35.9, LinkChange{LinkState::up}).statistics(0, 60);
    CHECK(bus.examine().dropouts.empty());
  }
}

TEST_CASE("a controller that stops while the recorder is blind is not called missing for that time") {
  auto bus = two(60);
  bus.cyclic(0.52, 30, 0.1, kB).cyclic(35.02, 60, 0.1, kB);
  // Ten of its frames a second are dropped by the kernel; the other controller's come through.
  for (int second = 0; second <= 60; ++second)
    bus.notice(second, Counters{std::nullopt, 0,
                                second <= 30  ? 0u
                                : second < 35 ? 10u * (second - 30)
                                              : 50u});
  CHECK(bus.examine().dropouts.empty());
}

TEST_CASE("switched off is not dropped out") {
  BusScript bus;
  bus.claim(0.1, 0x80, kNameA).claim(0.2, 0xF0, kNameC).cyclic(0.5, 41, 0.1, kA);
  for (double at = 0.5; at < 43; at += 0.1) bus.frame(at, kSpeed, speed(at < 40));
  bus.statistics(0, 60);
  const Conclusions found = bus.examine();
  for (const Dropout& d : found.dropouts) CHECK(d.kind == DropoutKind::power_down);
  CHECK(!something_wrong(found));
  CHECK(count_faults(found, "machine.power-down") == 1);

  SECTION("but with the key on it is") {
    BusScript on;
    on.claim(0.1, 0x80, kNameA).claim(0.2, 0xF0, kNameC).cyclic(0.5, 41, 0.1, kA);
    for (double at = 0.5; at < 60; at += 0.1) on.frame(at, kSpeed, speed(true));
    const Conclusions lost = on.examine();
    REQUIRE(lost.dropouts.size() == 1);
    CHECK(lost.dropouts[0].kind == DropoutKind::controller);
    CHECK(!lost.dropouts[0].end);
    CHECK(something_wrong(lost));
  }
}

TEST_CASE("announced silence is no dropout") {
  auto bus = two(60);
  const auto heartbeat = make_id(3, 0xF0E4, 0x81);
  bus.cyclic(0.52, 30, 0.1, kB).frame(30.0, heartbeat, {255}).cyclic(40, 60, 0.1, kB);
  Conclusions found = bus.examine();
  CHECK(found.dropouts.empty());
  CHECK(count_faults(found, "controller.intended-silence") == 1);

  auto stopped = two(60);
  stopped.cyclic(0.52, 30, 0.1, kB)
      .frame(29.99, make_id(6, 0xDF00, 0x80, 0xFF), {0x3F, 0xFF, 0xFF, 0, 0xFF, 0xFF, 0xFF, 0xFF});
  stopped.cyclic(34, 60, 0.1, kB);
  found = stopped.examine();
  CHECK(found.dropouts.empty());
  CHECK(count_faults(found, "network.broadcast-stopped") == 1);
}

TEST_CASE("a healthy bus has no dropout, whatever its periods and jitter") {
#ifdef NDEBUG
  constexpr unsigned kSeeds = 60;
#else
  constexpr unsigned kSeeds = 8;
#endif
  for (unsigned seed = 0; seed < kSeeds; ++seed) {
    std::mt19937 random(seed);
    const auto uniform = [&](double low, double high) {
      return low + (high - low) * static_cast<double>(random() % 100000) / 100000.0;
    };
    BusScript bus;
    for (Address address = 0x80; address < 0x88; ++address) {
      bus.claim(0.1 + 0.001 * address, address, kNameA + address);
      const auto streams = static_cast<unsigned>(1 + random() % 3);
      for (unsigned s = 0; s < streams; ++s) {
        const double period = std::exp(uniform(std::log(0.05), std::log(5.0)));
        const double jitter = uniform(0, 0.3);
        const bool counts = random() % 2;
        std::uint8_t count = 0;
        for (double at = uniform(0.5, 1); at < 300; at += period * uniform(1 - jitter, 1 + jitter))
          if (random() % 500 != 0)  // a frame lost now and then, without a word of it
            bus.frame(at, make_id(6, 0xFF10 + s, address), Payload(8, counts ? ++count : 7));
      }
      if (random() % 2)
        for (double at = 2; at < 300; at += 0.05 - 3 * std::log(uniform(0.0001, 1)))
          bus.frame(at, make_id(6, 0xFF30, address), Payload(8, static_cast<std::uint8_t>(random())));
    }
    const Conclusions found = bus.examine();
    INFO("seed " << seed);
    CHECK(found.dropouts.empty());
    CHECK(found.silences.empty());
  }
}

TEST_CASE("the report does not depend on how the events are cut into batches") {
  const auto make = [] {
    auto bus = two(60);
    bus.cyclic(0.52, 30, 0.1, kB)
        .claim(33, 0x81, kNameB)
        .cyclic(33.3, 60, 0.1, kB)
        .cyclic(1, 60, 0.5, kA2, true);
    bus.statistics(0, 60);
    return bus;
  };
  const auto json = [](Conclusions found) {
    Report report;
    report.found = std::move(found);
    return find_format("json")->report(report, {});
  };
  const std::string whole = json(make().examine(100000));
  for (const std::size_t batch : {1u, 2u, 7u, 64u}) CHECK(json(make().examine(batch)) == whole);
}

TEST_CASE("a clock that is put back does not make dropouts") {
  auto bus = two(20);
  bus.cyclic(0.52, 20, 0.1, kB);
  std::vector<Event> none;
  Examiner examiner;
  Payload payload(8, 0x11);
  Event event;
  event.flags = kExtendedId;
  event.data = payload.data();
  event.len = 8;
  std::uint64_t number = 0;
  for (const double offset : {0.0, -3600.0})
    for (double at = 0; at < 40; at += 0.1)
      for (const auto id : {kA, kB}) {
        event.time = BusScript::time(at + offset + (offset < 0 ? 40 : 0));
        event.id = id;
        event.number = ++number;
        examiner.take({&event, 1});
      }
  const Conclusions found = examiner.conclude();
  CHECK(found.dropouts.empty());
  CHECK(count_faults(found, "capture.clock-step") == 1);
}
