// Healthy random buses never drop anybody; and what does drop is found, whatever its jitter.
#include <fmt/format.h>

#include <array>
#include <queue>

#include "report/format.hpp"
#include "stage/random.hpp"
#include "unit/exam/bench.hpp"

using namespace tramlog;
using stage::Random;

namespace {

#if defined(__SANITIZE_ADDRESS__)
constexpr std::uint64_t kSeeds = 12;
#else
constexpr std::uint64_t kSeeds = 200;
#endif

enum class Manner { cyclic, lossy, random, on_touch, on_request };

struct Source {
  std::uint32_t id = 0;
  Manner manner = Manner::cyclic;
  SpanNs period = 0;
  unsigned jitter_pct = 0;
  bool payload_moves = false;
  TimeNs due = 0;
  TimeNs touched_until = 0;
  std::array<std::uint8_t, 8> payload{};

  SpanNs next(Random& random) {
    const SpanNs wobble = period * jitter_pct / 100;
    switch (manner) {
      case Manner::cyclic:
        return random.between(period - wobble, period + wobble);
      case Manner::lossy:  // a frame in a hundred is lost
        return random.between(period - wobble, period + wobble) * (random.below(100) == 0 ? 2 : 1);
      case Manner::random:
      case Manner::on_request:
        return random.waiting(period);
      case Manner::on_touch:  // 20 Hz for some seconds, then nothing for up to minutes
        if (due < touched_until) return 50 * kMillisecond;
        touched_until = due + random.between(20, 180) * kSecond;
        due = touched_until;
        touched_until += random.between(1, 9) * kSecond;
        return 0;
    }
    return period;
  }
};

struct Later {
  const std::vector<Source>& sources;
  bool operator()(std::size_t a, std::size_t b) const { return sources[a].due > sources[b].due; }
};

/// Plays the sources for `length`; `stop` takes one address off the bus from half of it on.
Conclusions play(std::vector<Source> sources, Random& random, SpanNs length, Address stop = kNullAddress) {
  Examiner examiner;
  std::priority_queue<std::size_t, std::vector<std::size_t>, Later> queue(Later{sources});
  for (std::size_t i = 0; i < sources.size(); ++i) {
    sources[i].due = ExamBench::kStart + random.between(0, sources[i].period);
    queue.push(i);
  }
  std::uint64_t number = 0;
  while (true) {
    Source& source = sources[queue.top()];
    const std::size_t index = queue.top();
    queue.pop();
    if (source.due > ExamBench::kStart + length) break;
    Event event;
    event.time = source.due;
    event.number = ++number;
    event.id = source.id;
    event.flags = kExtendedId;
    event.data = source.payload.data();
    event.len = 8;
    const bool stopped = source_of(source.id) == stop && source.due > ExamBench::kStart + length / 2;
    if (!stopped) examiner.take({&event, 1});
    const bool acts = source.manner == Manner::random || source.manner == Manner::on_touch;
    if (source.payload_moves || acts) ++source.payload[0], source.payload[3] ^= source.payload[0];
    source.due += source.next(random);
    queue.push(index);
  }
  return examiner.conclude();
}

SpanNs any_period(Random& random) {
  // Evenly over the octaves of 10 ms to 5 s.
  const double share = static_cast<double>(random.below(1000)) / 1000;
  return static_cast<SpanNs>(10e6 * std::pow(500.0, share));
}

std::vector<Source> healthy_bus(Random& random) {
  std::vector<Source> sources;
  for (unsigned c = 0; c < 8; ++c) {
    const auto address = static_cast<Address>(0x80 + c);
    const bool never_cyclic = random.below(3) == 0;
    const unsigned streams = 1 + static_cast<unsigned>(random.below(3));
    for (unsigned s = 0; s < streams; ++s) {
      Source source;
      source.id = make_id(6, 0xFF00 + 16 * c + s, address);
      source.period = any_period(random);
      source.jitter_pct = static_cast<unsigned>(random.below(31));
      source.payload_moves = random.below(2) == 0;
      const auto kind = never_cyclic ? 6 + random.below(4) : random.below(10);
      if (kind == 5) source.manner = Manner::lossy;
      if (kind == 6) source.manner = Manner::random;
      if (kind >= 7 && kind < 9) source.manner = Manner::on_touch;
      if (kind == 9) {
        source.manner = Manner::on_request;
        source.id = make_id(6, 0xFEDA, address);
        source.period = random.between(1, 60) * kSecond;
      }
      sources.push_back(source);
    }
  }
  return sources;
}

}  // namespace

TEST_CASE("A healthy random bus of ten minutes has no dropout and no silence") {
  for (std::uint64_t seed = 1; seed <= kSeeds; ++seed) {
    Random random(seed * 7919);
    const auto sources = healthy_bus(random);
    const Conclusions all = play(sources, random, 10 * kMinute);
    std::string who;
    for (const Dropout& d : all.dropouts)
      for (const Source& s : sources)
        if (source_of(s.id) == d.address)
          who +=
              fmt::format("{:x}: manner {}, {} jitter {}, {} at {}\n", d.address, static_cast<int>(s.manner),
                          format_span(s.period), s.jitter_pct, format_span(d.judged_until - d.start.time),
                          format_span(d.start.time - all.start));
    INFO("seed " << seed << "\n" << who);
    REQUIRE(all.dropouts.empty());
    for (const ControllerRecord& c : all.controllers) CHECK(c.state == ControllerState::present);
    for (const BusSilence& silence : all.silences) CHECK(silence.verdict != BusSilence::Verdict::silent);
  }
}

TEST_CASE("A cyclic controller that stops is found, with up to 30 % of jitter") {
  for (std::uint64_t seed = 1; seed <= kSeeds / 4; ++seed) {
    Random random(seed * 104729);
    std::vector<Source> sources(2);
    sources[0].id = make_id(6, 0xFF10, 0x80);
    sources[0].period = any_period(random);
    sources[0].jitter_pct = static_cast<unsigned>(random.below(31));
    sources[1].id = make_id(6, 0xFF11, 0x81);
    sources[1].period = 100 * kMillisecond;
    const Conclusions all = play(sources, random, 8 * kMinute, 0x80);
    INFO("seed " << seed << " period " << format_span(sources[0].period) << " jitter "
                 << sources[0].jitter_pct);
    REQUIRE(all.dropouts.size() == 1);
    CHECK(all.dropouts[0].address == 0x80);
    CHECK(near(all.dropouts[0].start.time, 240, 7));
  }
}

TEST_CASE("The report does not depend on the sizes of the batches that the events come in") {
  ExamBench b;
  b.statistics(0.95, 100);
  b.claim(0.01, ExamBench::unit(1), 0x80);
  b.claim(0.02, ExamBench::unit(2), 0x81);
  b.talks(0.4, 50, 0x80);
  b.talks(60, 100, 0x80);
  b.talks(0.4, 100, 0x81);
  b.error(30, 0x8, {0, 0, 4, 0, 0, 0, 0, 0});
  b.notice(40, Damage{10, 20, "blocks do not end", 0});
  b.notice(70, FramesLost{3});
  const auto events = b.events();
  const Format* json = find_format("json");
  std::string expected;
  for (const std::size_t size :
       {events.size(), std::size_t{1}, std::size_t{7}, std::size_t{64}, std::size_t{1000}}) {
    Examiner examiner;
    for (std::size_t at = 0; at < events.size(); at += size)
      examiner.take(std::span(events).subspan(at, std::min(size, events.size() - at)));
    Report report;
    report.found = examiner.conclude();
    const std::string text = json->report(report, {});
    if (expected.empty()) expected = text;
    CHECK(text == expected);
  }
  CHECK(expected.find("\"dropouts\"") != std::string::npos);
}
