// Many drills, drawn: what is measured from the bus against what the meter really did.
#include <catch2/catch.hpp>

#include "unit/implement/meter_bench.hpp"

namespace tramlog {
namespace {

struct Draw {
  explicit Draw(unsigned seed) : random(seed) {}
  double between(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  }
  bool one_in(int n) { return std::uniform_int_distribution<int>(1, n)(random) == 1; }
  std::mt19937 random;
};

MeterModel healthy(Draw& draw) {
  MeterModel model;
  model.dead_s = draw.between(0.1, 1.2);
  if (draw.one_in(2)) {
    model.tau_s = draw.between(0.3, 2.5) / std::log(9.0);
  } else {
    model.damping = draw.between(0.65, 0.95);
    model.tau_s = draw.between(0.2, 0.8);
  }
  model.gain = draw.between(0.99, 1.01);
  model.noise = draw.between(0, 0.004);
  return model;
}
Reporting any_reporting(Draw& draw) {
  Reporting reporting;
  reporting.interval_s = draw.between(0.2, 1.0);
  reporting.change = draw.one_in(2) ? 0.01 : 0;
  reporting.commands = draw.one_in(2);
  return reporting;
}

// Five set rates, each 15 to 25 s.
MeterRun drawn_run(Draw& draw, const MeterModel& model, const Reporting& reporting, unsigned seed,
                   std::vector<double>& times, double& until_s) {
  MeterRun run(model, reporting, seed);
  double t = 0.5, rate = draw.between(12000, 20000);
  run.set_at(t, rate);
  times.push_back(t);
  for (int i = 0; i < 5; ++i) {
    t += draw.between(15, 25);
    const double factor = draw.between(0.12, 0.4);
    rate = rate > 17000 ? rate * (1 - factor) : rate * (1 + factor);
    run.set_at(t, rate);
    times.push_back(t);
  }
  until_s = t + 20;
  run.work(2, until_s - 2);
  run.play(until_s);
  return run;
}

}  // namespace

TEST_CASE("healthy drills are measured to within a sample period and called healthy") {
  for (unsigned seed = 1; seed <= 100; ++seed) {
    Draw draw(seed);
    const MeterModel model = healthy(draw);
    const Reporting reporting = any_reporting(draw);
    std::vector<double> times;
    double until_s = 0;
    const MeterRun run = drawn_run(draw, model, reporting, seed, times, until_s);
    MeterBench bench;
    bench.play(run, until_s);
    const ImplementRecord record = bench.conclude();
    INFO("seed " << seed << " dead " << model.dead_s << " tau " << model.tau_s << " damping " << model.damping
                 << " noise " << model.noise << " interval " << reporting.interval_s << " change "
                 << reporting.change << " commands " << reporting.commands);
    REQUIRE(record.pairs.size() == 1);
    const PairRecord& pair = record.pairs[0];
    for (const CheckLine& line : record.lines) {
      INFO(line.code << ": " << line.text);
      CHECK(line.verdict == Verdict::pass);
    }
    REQUIRE(pair.steps.size() == 5);
    for (std::size_t i = 0; i < 5; ++i) {
      const double from = times[i + 1], to = i + 2 < times.size() ? times[i + 2] : until_s - 2;
      const MeterRun::Truth truth = run.truth(from, to);
      const StepRecord& step = pair.steps[i];
      INFO("step " << i << " truth dead " << truth.dead_s << " rise " << truth.rise_s << " settled "
                   << truth.settled);
      CHECK(step.answered);
      REQUIRE(step.complete);
      REQUIRE(step.dead_time_s);
      REQUIRE(step.rise_time_s);
      INFO("measured dead " << *step.dead_time_s << " rise " << *step.rise_time_s << " settled "
                            << *step.settled_raw);
      CHECK(std::abs(*step.dead_time_s - truth.dead_s) <= reporting.interval_s);
      // Sampled more coarsely than it rises, both crossings lie anywhere in their gaps.
      CHECK(std::abs(*step.rise_time_s - truth.rise_s) <= 1.6 * reporting.interval_s);
      CHECK(std::abs(*step.settled_raw - truth.settled) <= 0.005 * 30000);
    }
  }
}

TEST_CASE("meters with a fault are found, whatever the drill is otherwise") {
  struct Fault {
    const char* name;
    const char* code;
    void (*make)(MeterModel&, Draw&);
  };
  const Fault faults[] = {
      {"dead time", "meter.dead-time",
       [](MeterModel& model, Draw& draw) { model.dead_s = draw.between(4, 6); }},
      {"slow", "meter.rise-time",
       [](MeterModel& model, Draw& draw) {
         model.damping = 0;
         model.tau_s = draw.between(6, 9) / std::log(9.0);
       }},
      {"overshoot", "meter.overshoot",
       [](MeterModel& model, Draw& draw) {
         model.damping = draw.between(0.2, 0.35);
         model.tau_s = draw.between(0.3, 0.6);
       }},
      {"offset", "meter.settled-error",
       [](MeterModel& model, Draw& draw) {
         model.gain = draw.one_in(2) ? draw.between(1.1, 1.15) : draw.between(0.84, 0.89);
       }},
      {"hunting", "meter.hunting",
       [](MeterModel& model, Draw& draw) {
         model.hunting = draw.between(0.06, 0.12);
         model.hunting_s = draw.between(3, 12);
       }},
      {"no answer", "meter.no-answer", [](MeterModel& model, Draw&) { model.dead = true; }},
  };
  for (const Fault& fault : faults) {
    for (unsigned seed = 1; seed <= 40; ++seed) {
      Draw draw(seed);
      const MeterModel good = healthy(draw);
      MeterModel bad = good;
      fault.make(bad, draw);
      const Reporting reporting = any_reporting(draw);
      MeterRun run(good, reporting, seed);
      double t = 0.5, rate = draw.between(12000, 20000);
      run.set_at(t, rate);
      run.model_from(10, bad);
      for (int i = 0; i < 5; ++i) {
        t += 25;
        const double factor = draw.between(0.15, 0.4);
        rate = rate > 17000 ? rate * (1 - factor) : rate * (1 + factor);
        run.set_at(t, rate);
      }
      run.work(2, t + 23);
      run.play(t + 25);
      MeterBench bench;
      bench.play(run, t + 25);
      const ImplementRecord record = bench.conclude();
      const CheckLine* line = line_of(record, fault.code);
      REQUIRE(line != nullptr);
      INFO(fault.name << " seed " << seed << ": " << line->text);
      CHECK(line->verdict == Verdict::attention);
    }
  }
}

TEST_CASE("rough but healthy work gives no attention") {
  for (unsigned seed = 1; seed <= 150; ++seed) {
    Draw draw(seed + 5000);
    MeterModel model = healthy(draw);
    model.noise = draw.between(0, 0.010);
    Reporting reporting = any_reporting(draw);
    if (draw.one_in(4)) reporting.interval_s = 0, reporting.change = 0.02;
    reporting.quantum = draw.one_in(3) ? 100 : 1;
    MeterRun run(model, reporting, seed);
    double t = 0.5, rate = draw.between(6000, 20000);
    run.set_at(t, rate);
    for (int i = 0; i < 8; ++i) {
      t += draw.between(4, 25);
      const double factor = draw.between(0.01, 0.5);
      rate = rate > 15000 ? rate * (1 - factor) : rate * (1 + factor);
      run.set_at(t, rate);
    }
    const double until = t + 20;
    for (double from = 2; from < until - 2;) {  // headlands
      const double to = std::min(until - 2, from + draw.between(10, 60));
      run.work(from, to);
      from = to + draw.between(3, 10);
    }
    run.play(until);
    MeterBench bench;
    bench.play(run, until);
    const ImplementRecord record = bench.conclude();
    INFO("seed " << seed << " dead " << model.dead_s << " tau " << model.tau_s << " damping " << model.damping
                 << " noise " << model.noise << " interval " << reporting.interval_s << " change "
                 << reporting.change << " commands " << reporting.commands);
    for (const CheckLine& line : record.lines) {
      INFO(line.code << ": " << line.text);
      CHECK(line.verdict != Verdict::attention);
    }
  }
}

}  // namespace tramlog
