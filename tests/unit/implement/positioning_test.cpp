#include <optional>

#include "unit/implement/machine_bench.hpp"

using namespace tramlog;

namespace {

constexpr Pgn kQuality = 129029, kRapid = 129025, kVehiclePosition = 65267;

/// 48.5 degrees north, 11.25 east in 1e-7 degrees; `none`: 7FFFFFFF.
Payload rapid_bytes(bool none) {
  Payload out = le(none ? 0x7FFFFFFFU : 485'000'000U, 4);
  for (const std::uint8_t byte : le(none ? 0x7FFFFFFFU : 112'500'000U, 4)) out.push_back(byte);
  return out;
}
/// The same in 1e-7 degrees from -210.
Payload vehicle_bytes(bool none) {
  Payload out = le(none ? 0xFFFFFFFFU : 485'000'000U + 2'100'000'000U, 4);
  for (const std::uint8_t byte : le(none ? 0xFFFFFFFFU : 112'500'000U + 2'100'000'000U, 4))
    out.push_back(byte);
  return out;
}

struct Sky {
  std::function<std::optional<unsigned>(double t)> method;  // none: no message
  std::function<unsigned(double t)> satellites = [](double) { return 14U; };
  std::function<unsigned(double t)> integrity = [](double) { return 0U; };
  std::function<bool(double t)> work = [](double) { return true; };
  double period_s = 1;
};

/// Wheel speed every 100 ms, position data every period.
void play(MachineBench& bench, const Sky& sky, double from_s, double to_s) {
  double next = from_s;
  for (int step = 0; from_s + step / 10.0 < to_s; ++step) {
    const double t = from_s + step / 10.0;
    bench.work = sky.work(t);
    bench.send(t, 0xFE48, MachineBench::kTractor, speed_bytes(2500, 0xF5));
    if (t + 1e-6 < next) continue;
    next += sky.period_s;
    if (const auto method = sky.method(t))
      bench.send(t + 0.05, kQuality, MachineBench::kReceiver,
                 quality_bytes(*method, sky.satellites(t), sky.integrity(t)));
  }
}
std::vector<CheckLine> run(const Sky& sky, double to_s = 300) {
  MachineBench bench(machine::positioning);
  play(bench, sky, 0, to_s);
  return bench.conclude(to_s);
}

}  // namespace

TEST_CASE("a receiver that stays at RTK fixed passes, with its shares", "[positioning]") {
  Sky sky;
  // Float while it starts, and for 3 s in between: no degradation.
  sky.method = [](double t) { return t < 20 || (t > 150 && t < 153.5) ? 5U : 4U; };
  sky.satellites = [](double t) { return t > 100 && t < 102 ? 9U : 14U; };
  const auto lines = run(sky);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::pass);
  const CheckLine& line = line_of(lines, "position.degraded");
  INFO(line.text);
  CHECK(line.verdict == Verdict::pass);
  // 299 s between the first and the last position: 20 s and 3 s at float, the rest at fixed.
  CHECK(holds(line.text, "RTK fixed 92.3 %, RTK float 7.7 %, at least 9 satellites"));
}

TEST_CASE("a fix that is lost is told with its times", "[positioning]") {
  const auto how =
      GENERATE(as<std::string>{}, "no fix", "no position message any more", "simulated", "receiver in error");
  Sky sky;
  sky.method = [how](double t) -> std::optional<unsigned> {
    if (t < 100 || t >= 120) return 4U;
    if (how == "no position message any more") return std::nullopt;
    return how == "no fix" ? 0U : how == "simulated" ? 8U : 14U;
  };
  const auto lines = run(sky);
  const CheckLine& line = line_of(lines, "position.lost");
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "times") == 1);
  const bool silent = how == "no position message any more";  // then since the last message
  CHECK(to_seconds(*line.start - MachineBench::time(silent ? 99 : 100)) == Approx(0.05).margin(0.06));
  CHECK(to_seconds(*line.end - MachineBench::time(120)) == Approx(0.05).margin(0.06));
  CHECK(figure_of(line, "longest_s") == Approx(silent ? 21 : 20).margin(0.1));
  CHECK(holds(line.text, how));
  CHECK(line_of(lines, "position.degraded").verdict == Verdict::pass);
}

TEST_CASE("a worse method than usual is told", "[positioning]") {
  Sky sky;
  sky.method = [](double t) { return t >= 100 && t < 130 ? 2U : 4U; };
  auto lines = run(sky);
  const CheckLine line = line_of(lines, "position.degraded");
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "longest_s") == Approx(30).margin(0.1));
  CHECK(holds(line.text, "differential instead of RTK fixed, 14 satellites"));
  CHECK(line_of(lines, "position.lost").verdict == Verdict::pass);
  // To the end.
  sky.method = [](double t) { return t >= 250 ? 1U : 4U; };
  lines = run(sky);
  CHECK(holds(line_of(lines, "position.degraded").text, "GNSS fix instead of RTK fixed"));
  CHECK(holds(line_of(lines, "position.degraded").text, "until the recording's end"));
  // RTK fixed is a better method than float although its number is smaller.
  sky.method = [](double t) { return t >= 100 && t < 130 ? 5U : 4U; };
  CHECK(line_of(run(sky), "position.degraded").verdict == Verdict::attention);
  // The receiver warns.
  sky.method = [](double) { return 4U; };
  sky.integrity = [](double t) { return t >= 100 && t < 130 ? 3U : 1U; };
  CHECK(holds(line_of(run(sky), "position.degraded").text, "said to be unsafe"));
}

TEST_CASE("in the yard a fix may be missing", "[positioning]") {
  Sky sky;
  sky.work = [](double t) { return t > 100 && t < 200; };
  sky.method = [](double t) { return t < 60 ? 0U : t < 90 ? 1U : t < 220 ? 4U : 0U; };
  const auto lines = run(sky);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::pass);
  CHECK(line_of(lines, "position.degraded").verdict == Verdict::pass);
  // Nobody ever works and the machine stands: nothing is shown.
  sky.work = [](double) { return false; };
  const auto idle = run(sky);
  CHECK(line_of(idle, "position.lost").verdict == Verdict::not_shown);
  CHECK(line_of(idle, "position.degraded").verdict == Verdict::not_shown);
}

TEST_CASE("positions without a method", "[positioning]") {
  const auto pgn = GENERATE(kRapid, kVehiclePosition);
  const double period = pgn == kRapid ? 0.2 : 5;
  const auto bytes = pgn == kRapid ? rapid_bytes : vehicle_bytes;
  const auto play_plain = [&](double to_s, double none_from, double none_to, double gone_from) {
    MachineBench bench(machine::positioning);
    bench.work = true;
    for (double t = 0, next = 0; t < to_s; t += 0.1) {
      bench.send(t, 0xFE48, MachineBench::kTractor, speed_bytes(2500));
      if (t + 1e-6 < next) continue;
      next += period;
      if (t < gone_from)
        bench.send(t + 0.01, pgn, MachineBench::kReceiver, bytes(t >= none_from && t < none_to));
    }
    return bench.conclude(to_s);
  };
  auto lines = play_plain(300, 1e9, 1e9, 1e9);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::pass);
  CHECK(line_of(lines, "position.degraded").verdict == Verdict::not_shown);
  lines = play_plain(300, 100, 120, 1e9);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::attention);
  CHECK(figure_of(line_of(lines, "position.lost"), "longest_s") == Approx(20).margin(period + 0.1));
  lines = play_plain(300, 1e9, 1e9, 200);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::attention);
  CHECK(figure_of(line_of(lines, "position.lost"), "longest_s") == Approx(100).margin(period + 0.1));
}

TEST_CASE("the rapid position goes on when position data stop", "[positioning]") {
  MachineBench bench(machine::positioning);
  bench.work = true;
  for (int i = 0; i < 3000; ++i) {
    const double t = i * 0.1;
    bench.send(t, kRapid, MachineBench::kReceiver, rapid_bytes(false));
    if (i % 10 == 0 && t < 200) bench.send(t + 0.01, kQuality, MachineBench::kReceiver, quality_bytes(4));
  }
  const auto lines = bench.conclude(300);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::pass);
  CHECK(holds(line_of(lines, "position.degraded").text,
              "a position whose method is not told instead of RTK fixed"));
}

TEST_CASE("a second receiver does not mix in", "[positioning]") {
  MachineBench bench(machine::positioning);
  bench.work = true;
  for (int i = 0; i < 200; ++i) {
    bench.send(i, kQuality, 0x1C, quality_bytes(4));
    bench.send(i + 0.5, kQuality, 0x1D, quality_bytes(0, 0));
  }
  const auto lines = bench.conclude(200);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::pass);
  CHECK(line_of(lines, "position.degraded").verdict == Verdict::pass);
}

TEST_CASE("what the recorder missed, and a sleeping bus, are no loss", "[positioning]") {
  Sky sky;
  sky.method = [](double) { return 4U; };
  MachineBench bench(machine::positioning);
  play(bench, sky, 0, 100);
  bench.blind(130);
  play(bench, sky, 130, 200);
  const auto lines = bench.conclude(500);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::pass);
}

TEST_CASE("no position: not shown", "[positioning]") {
  MachineBench bench(machine::positioning);
  bench.send(1, kQuality, 0x1C, Payload(20, 0));  // cut
  bench.send(2, kRapid, 0x1C, Payload(3, 0));
  const auto lines = bench.conclude(60);
  CHECK(line_of(lines, "position.lost").verdict == Verdict::not_shown);
  CHECK(line_of(lines, "position.degraded").verdict == Verdict::not_shown);
}
