// Meters as a whole device tells them: who follows which set rate, and what else can go wrong than the answer
// to a step.
#include <catch2/catch.hpp>

#include "unit/implement/meter_bench.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kBoom = MeterBench::kBoom, kBin = MeterBench::kBin, kSet = 6, kActual = 7;

Verdict verdict_of(const ImplementRecord& record, const std::string& code, std::uint16_t element = kBin) {
  const CheckLine* line = line_of(record, code, element);
  REQUIRE(line != nullptr);
  INFO(line->text);
  return line->verdict;
}
std::string text_of(const ImplementRecord& record, const std::string& code, std::uint16_t element = kBin) {
  const CheckLine* line = line_of(record, code, element);
  REQUIRE(line != nullptr);
  return line->text;
}
double figure_of(const ImplementRecord& record, const std::string& code, const std::string& key) {
  const CheckLine* line = line_of(record, code);
  REQUIRE(line != nullptr);
  for (const Figure& figure : line->figures)
    if (figure.key == key) return figure.value;
  FAIL("no figure " << key);
  return 0;
}

// Works from `from_s` on at 2.5 m/s and delivers what `rate` says, told every 0.5 s.
template <class Rate>
void deliver(MeterBench& bench, double from_s, double to_s, Rate rate, std::uint16_t element = kBin) {
  for (double t = from_s; t < to_s; t += 0.1) {
    bench.speed(t, 2500);
    if (static_cast<long>(t * 10 + 0.5) % 5 == 0)
      bench.value(t + 0.01, element, kActual, static_cast<std::int64_t>(rate(t)));
  }
  bench.end(to_s);
}

}  // namespace

TEST_CASE("a healthy first order meter: the record and the lines carry the numbers") {
  MeterModel model;
  model.dead_s = 0.4;
  model.tau_s = 0.6;
  MeterRun run(model, {0.5, 0.01, 1, true});
  for (const auto& [t, raw] : {std::pair{0.5, 15000.0}, {20.0, 18000.0}, {40.0, 14000.0}}) run.set_at(t, raw);
  run.work(2, 58);
  run.play(60);
  MeterBench bench;
  bench.play(run, 60);
  const ImplementRecord record = bench.conclude();
  REQUIRE(record.pairs.size() == 1);
  const PairRecord& pair = record.pairs[0];
  CHECK(pair.element == kBin);
  CHECK(pair.subject == "seed, element 4");
  CHECK(pair.quantity == "mass per area");
  CHECK(pair.set_ddi == 6);
  CHECK(pair.actual_ddi == 7);
  CHECK(pair.set_count == 3);
  CHECK(pair.last_set_raw == 14000);
  CHECK(pair.range_raw == 30000);
  REQUIRE(pair.steps.size() == 2);
  CHECK(pair.steps[0].from_raw == 15000);
  CHECK(pair.steps[0].to_raw == 18000);
  // By hand: t5 = 0.4 + 0.6 ln(1/0.95), rise = 0.6 ln 9, and a first order has no overshoot.
  CHECK(pair.dead_time_s.value() == Approx(0.431).margin(0.1));
  CHECK(pair.rise_time_s.value() == Approx(1.318).margin(0.12));
  CHECK(pair.overshoot_pct.value() < 0.5);
  CHECK(pair.settled_error_pct.value() == Approx(0).margin(0.02));
  CHECK(pair.working_s == Approx(56).margin(1.5));
  CHECK_FALSE(pair.hunting_period_s);
  CHECK(record.lines.size() == 10);
  for (const CheckLine& line : record.lines) {
    INFO(line.code << ": " << line.text);
    CHECK(line.verdict == Verdict::pass);
    CHECK(line.topic == "meters");
  }
  CHECK(text_of(record, "meter.dead-time").find("median of 2 steps") != std::string::npos);
}

TEST_CASE("delivering at a set rate of zero is told, the run down after it is not") {
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 20, [](double) { return 15000; });
  bench.value(20, kBin, kSet, 0, false);
  SECTION("runs down within 4 s") {
    deliver(bench, 20.1, 40, [](double t) { return t < 24 ? 15000 * (24 - t) / 4 : 0; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.no-set-rate") == Verdict::pass);
    CHECK(verdict_of(record, "meter.flow-stopped") == Verdict::pass);
  }
  SECTION("goes on") {
    deliver(bench, 20.1, 40, [](double) { return 15000; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.no-set-rate") == Verdict::attention);
    // 20 s less the 2.5 s of dead time that a meter may have.
    CHECK(record.pairs[0].without_set_rate_s == Approx(17.5).margin(0.6));
  }
}

TEST_CASE("delivery after the start of a task and before its first set rate") {
  MeterBench bench;
  bench.task(1, true);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 12, [](double) { return 15000; });
  SECTION("a set rate comes late: there ought to have been one") {
    bench.value(12, kBin, kSet, 15000, false);
    deliver(bench, 12.1, 30, [](double) { return 15000; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.no-set-rate") == Verdict::attention);
    CHECK(record.pairs[0].without_set_rate_s == Approx(9.8).margin(0.7));
  }
  SECTION("none ever comes: the rate may be set at the machine") {
    deliver(bench, 12.1, 30, [](double) { return 15000; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.no-set-rate") == Verdict::not_shown);
    CHECK(text_of(record, "meter.no-set-rate").find("no set rate (DDI 6) was sent") != std::string::npos);
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::not_shown);
  }
}

TEST_CASE("a flow that stops at work is told, the wait for it after a start of work is not") {
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  SECTION("2.4 s until the first seed") {
    deliver(bench, 2.1, 30, [](double t) { return t < 4.4 ? 0 : 15000; });
    CHECK(verdict_of(bench.conclude(), "meter.flow-stopped") == Verdict::pass);
  }
  SECTION("3 s without seed in between") {
    deliver(bench, 2.1, 30, [](double t) { return t > 14.9 && t < 17.9 ? 0 : 15000; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.flow-stopped") == Verdict::attention);
    CHECK(figure_of(record, "meter.flow-stopped", "longest_s") == Approx(3.0).margin(0.2));
    CHECK(figure_of(record, "meter.flow-stopped", "count") == 1);
    CHECK(to_seconds(*line_of(record, "meter.flow-stopped")->start - MeterBench::kStart) ==
          Approx(15.01).margin(0.001));
  }
  SECTION("a stop while a step is answered is no answer") {
    deliver(bench, 2.1, 15, [](double) { return 15000; });
    bench.value(15, kBin, kSet, 12000, false);
    deliver(bench, 15.1, 40, [](double t) { return t < 15.5 ? 15000 : t < 20 ? 12000 : 0; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.flow-stopped") == Verdict::attention);
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::pass);
    CHECK(verdict_of(record, "meter.settled-error") == Verdict::pass);
    REQUIRE(record.pairs[0].steps.size() == 1);
    CHECK(record.pairs[0].steps[0].settled_raw.value_or(12000) == Approx(12000));
  }
  SECTION("headlands: lifted and set down again") {
    deliver(bench, 2.1, 15, [](double) { return 15000; });
    bench.value(15, kBoom, 141, 0);
    deliver(bench, 15.1, 25, [](double) { return 0; });
    bench.value(25, kBoom, 141, 1);
    deliver(bench, 25.1, 40, [](double t) { return t < 26.5 ? 0 : 15000; });
    CHECK(verdict_of(bench.conclude(), "meter.flow-stopped") == Verdict::pass);
  }
}

TEST_CASE("a set rate beyond the declared maximum, and a limit that nobody declared") {
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  SECTION("declared") {
    deliver(bench, 2.1, 15, [](double) { return 15000; });
    bench.value(15, kBin, kSet, 36000, false);
    deliver(bench, 15.1, 30, [](double t) { return t < 16.5 ? 15000 : 30000; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.at-limit") == Verdict::attention);
    CHECK(record.pairs[0].at_limit_s == Approx(13.5).margin(0.7));
    // 6000 of 30000 too little, but that is no matter of calibration.
    CHECK(verdict_of(record, "meter.settled-error") == Verdict::pass);
  }
  SECTION("not declared") {
    bench.pool().properties.clear();
    bench.watch().on_pool();
    deliver(bench, 2.1, 15, [](double) { return 15000; });
    bench.value(15, kBin, kSet, 20000, false);
    deliver(bench, 15.1, 30, [](double t) { return t < 16.5 ? 15000 : 17500; });
    bench.value(30, kBin, kSet, 22000, false);
    deliver(bench, 30.1, 45, [](double) { return 17500; });
    const ImplementRecord record = bench.conclude();
    CHECK(verdict_of(record, "meter.at-limit") == Verdict::attention);
    CHECK(text_of(record, "meter.at-limit").find("17500 mg/m2") != std::string::npos);
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::pass);
    CHECK(verdict_of(record, "meter.settled-error") == Verdict::pass);
  }
}

TEST_CASE("the operator's own set rate is in force when it is told later") {
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 15, [](double) { return 15000; });
  bench.value(15, kBin, kSet, 18000);  // by the device
  deliver(bench, 15.1, 30, [](double t) { return t < 16.0 ? 15000 : 18000; });
  const ImplementRecord record = bench.conclude();
  REQUIRE(record.pairs[0].steps.size() == 1);
  CHECK(record.pairs[0].steps[0].to_raw == 18000);
  CHECK(record.pairs[0].steps[0].complete);
  CHECK(verdict_of(record, "meter.settled-error") == Verdict::pass);
}

TEST_CASE("an old set rate that was on its way when the new one was written is none") {
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 15, [](double) { return 15000; });
  bench.value(15, kBin, kSet, 18000, false);
  bench.value(15.05, kBin, kSet, 15000);
  bench.value(15.4, kBin, kSet, 18000);
  deliver(bench, 15.5, 30, [](double t) { return t < 16.0 ? 15000 : 18000; });
  const ImplementRecord record = bench.conclude();
  REQUIRE(record.pairs[0].steps.size() == 1);
  CHECK(record.pairs[0].steps[0].complete);
}

TEST_CASE("a refused set rate: the device goes on telling the old one, which counts") {
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 15, [](double) { return 15000; });
  bench.value(15, kBin, kSet, 18000, false);
  bench.value(16, kBin, kSet, 15000);
  deliver(bench, 16.1, 40, [](double) { return 15000; });
  const ImplementRecord record = bench.conclude();
  CHECK(verdict_of(record, "meter.settled-error") == Verdict::pass);
  CHECK(verdict_of(record, "meter.tolerance") == Verdict::pass);
  CHECK(verdict_of(record, "meter.no-answer") == Verdict::not_shown);
}

TEST_CASE("while the prescription control state says manual, what the task controller writes does not bind") {
  MeterBench bench;
  bench.value(0.5, kBoom, 158, 0);
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 15, [](double) { return 12000; });
  bench.value(15, kBin, kSet, 18000, false);
  deliver(bench, 15.1, 40, [](double) { return 12000; });
  const ImplementRecord record = bench.conclude();
  CHECK(verdict_of(record, "meter.no-answer") == Verdict::not_shown);
  CHECK(verdict_of(record, "meter.settled-error") == Verdict::not_shown);
  CHECK(text_of(record, "meter.no-answer").find("DDI 158") != std::string::npos);
}

TEST_CASE("a set rate at the boom leads the only bin below it; with two bins nobody knows") {
  MeterBench bench;
  SECTION("one") {}
  SECTION("two") {
    ElementObject other = bench.pool().elements.back();
    other.id = 9;
    other.number = 5;
    bench.pool().elements.push_back(other);
    bench.watch().on_pool();
  }
  const bool two = bench.pool().elements.size() == 4;
  bench.value(1, kBoom, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  for (double t = 2.1; t < 40; t += 0.5) {
    bench.speed(t, 2500);
    const bool up = t > 16;
    if (t > 15 && t < 15.5) bench.value(t, kBoom, kSet, 18000, false);
    bench.value(t + 0.01, kBin, kActual, up ? 18000 : 15000);
    if (two) bench.value(t + 0.02, 5, kActual, up ? 18000 : 15000);
  }
  bench.end(40);
  const ImplementRecord record = bench.conclude();
  if (two) {
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::not_shown);
    CHECK(text_of(record, "meter.no-answer").find("might follow") != std::string::npos);
    CHECK(verdict_of(record, "meter.no-answer", 5) == Verdict::not_shown);
  } else {
    CHECK(record.pairs.size() == 1);
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::pass);
  }
}

TEST_CASE(
    "nothing is measured across a time without hearing, a lost connection or a change of the sections") {
  const int kind = GENERATE(0, 1, 2, 3);
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(1, kBoom, 161, 0x55);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 15, [](double) { return 15000; });
  bench.value(15, kBin, kSet, 18000, false);
  deliver(bench, 15.1, 16, [](double) { return 15000; });
  if (kind == 0) bench.watch().on_blind();
  if (kind == 1) bench.watch().on_break(bench.mark(16));
  if (kind == 2) bench.value(16, kBoom, 161, 0x15);
  deliver(bench, 16.1, 40, [](double) { return 15000; });
  const ImplementRecord record = bench.conclude();
  INFO(kind);
  if (kind == 3) {
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::attention);
  } else {
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::not_shown);
    CHECK(record.pairs[0].steps.size() == (kind == 2 ? 1 : 0));
  }
}

TEST_CASE("a rate that swings with the speed does not hunt") {
  const bool with_speed = GENERATE(true, false);
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  for (double t = 2.1; t < 60; t += 0.1) {
    const double swing = std::sin(2 * M_PI * t / 6);
    bench.speed(t, with_speed ? 2500 * (1 + 0.08 * swing) : 2500);
    if (static_cast<long>(t * 10 + 0.5) % 5 == 0)
      bench.value(t + 0.01, kBin, kActual, static_cast<std::int64_t>(15000 * (1 - 0.06 * swing)));
  }
  bench.end(60);
  const ImplementRecord record = bench.conclude();
  CHECK(verdict_of(record, "meter.hunting") == (with_speed ? Verdict::pass : Verdict::attention));
  if (with_speed) {
    CHECK(text_of(record, "meter.hunting").find("swung with the speed") != std::string::npos);
  } else {
    CHECK(record.pairs[0].hunting_period_s.value() == Approx(6).margin(0.15));
    CHECK(record.pairs[0].hunting_amplitude_raw.value() == Approx(900).margin(45));
  }
}

TEST_CASE("what is not on the bus is said") {
  SECTION("a pair that is only described") {
    MeterBench bench;
    bench.end(10);
    const ImplementRecord record = bench.conclude();
    REQUIRE(record.pairs.size() == 1);
    CHECK(text_of(record, "meter.dead-time") ==
          "Not shown on this bus: the delivered mass per area (DDI 7) was not told.");
  }
  SECTION("set rates, but no delivered ones") {
    MeterBench bench;
    bench.value(1, kBin, kSet, 15000, false);
    bench.value(2, kBin, kSet, 18000, false);
    const ImplementRecord record = bench.conclude();
    REQUIRE(record.pairs.size() == 1);
    CHECK(record.pairs[0].set_count == 2);
    CHECK(record.pairs[0].last_set_raw == 18000);
    CHECK(verdict_of(record, "meter.no-answer") == Verdict::not_shown);
  }
  SECTION("no work state and no section") {
    MeterBench bench;
    bench.value(1, kBin, kSet, 15000, false);
    deliver(bench, 2, 20, [](double) { return 15000; });
    CHECK(text_of(bench.conclude(), "meter.flow-stopped").find("work state DDI 141") != std::string::npos);
  }
  SECTION("no meter at all") {
    MeterBench bench;
    bench.pool() = DevicePool{};
    bench.watch().on_pool();
    const ImplementRecord record = bench.conclude();
    CHECK(record.pairs.empty());
    CHECK(record.lines.size() == 10);
    for (const CheckLine& line : record.lines) CHECK(line.verdict == Verdict::not_shown);
  }
}

TEST_CASE("a seeding depth is a pair without checks of a flow") {
  MeterBench bench;
  bench.value(1, kBin, 56, 30, false);
  bench.value(2, kBoom, 141, 1);
  for (double t = 2.1; t < 40; t += 0.5) {
    bench.speed(t, 2500);
    if (t > 15 && t < 15.5) bench.value(t, kBin, 56, 40, false);
    bench.value(t + 0.01, kBin, 57, t > 17 ? 40 : 30);
  }
  bench.end(40);
  const ImplementRecord record = bench.conclude();
  std::size_t lines = 0;
  for (const CheckLine& line : record.lines)
    if (line.code == "meter.no-answer" && line.verdict == Verdict::pass) ++lines;
  CHECK(lines == 1);
  CHECK(record.pairs.size() == 2);  // and the described one
}

TEST_CASE("concluding twice, and going on afterwards, changes nothing") {
  MeterBench bench;
  bench.value(1, kBin, kSet, 15000, false);
  bench.value(2, kBoom, 141, 1);
  deliver(bench, 2.1, 15, [](double) { return 15000; });
  bench.value(15, kBin, kSet, 18000, false);
  deliver(bench, 15.1, 20, [](double t) { return t < 16.0 ? 15000 : 18000; });
  const ImplementRecord first = bench.conclude(), second = bench.conclude();
  REQUIRE(first.lines.size() == second.lines.size());
  for (std::size_t i = 0; i < first.lines.size(); ++i) CHECK(first.lines[i].text == second.lines[i].text);
  deliver(bench, 20.1, 40, [](double) { return 18000; });
  CHECK(bench.conclude().pairs[0].steps.size() == 1);
}

TEST_CASE("any values at any element in any order do no harm and stay bounded") {
  std::mt19937 random(7);
  MeterBench bench;
  const std::vector<std::uint16_t> ddis{1,  2,  6,   7,   8,   9,   10,  11,  12,  16, 17,
                                        56, 57, 140, 141, 158, 161, 288, 308, 541, 542};
  const std::vector<std::int64_t> values{0, 1, -1, 2147483647, -2147483648ll, 4294967295ll, 15000, 15001};
  const auto any = [&](const auto& list) {
    return list[std::uniform_int_distribution<std::size_t>(0, list.size() - 1)(random)];
  };
  double t = 0;
  for (int i = 0; i < 60'000; ++i) {
    t += std::uniform_real_distribution<double>(0, 1)(random) < 0.01 ? 30 : 0.01;
    const auto element = static_cast<std::uint16_t>(random() % (random() % 4 == 0 ? 4096 : 6));
    bench.value(t, element, any(ddis), any(values), random() % 3 != 0);
    if (i % 10 == 0) bench.speed(t, static_cast<double>(random() % 5000));
    if (i % 5000 == 0) bench.watch().on_blind();
    if (i % 7000 == 0) bench.watch().on_break(bench.mark(t));
    if (i % 9000 == 0) bench.task(t, i % 2 == 0);
  }
  bench.end(t);
  const ImplementRecord record = bench.conclude();
  CHECK(record.pairs.size() <= 64 + 256);
  for (const PairRecord& pair : record.pairs) CHECK(pair.steps.size() <= 64);
  for (const CheckLine& line : record.lines) {
    CHECK(line.moments.size() <= kMaxMoments);
    for (const Figure& figure : line.figures) CHECK(std::isfinite(figure.value));
  }
}

}  // namespace tramlog
