#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

#include "stage/drill.hpp"
#include "stage/implement_truth.hpp"
#include "stage/play.hpp"
#include "stage/pool_writer.hpp"
#include "stage/process_bytes.hpp"
#include "unit/stage/scratch.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

using Bytes8 = std::vector<std::uint8_t>;

constexpr TimeNs s(double seconds) {
  return static_cast<TimeNs>(seconds * 1e9);
}

// One meter, four sections of 1.5 m, always at work at 2 m/s.
ImplementSpec working_drill() {
  ImplementSpec spec;
  MeterSpec meter;
  meter.dead_time = 600 * kMillisecond;
  meter.time_constant = 800 * kMillisecond;
  meter.settled_error_pct = 0;
  meter.noise_pct = 0;
  meter.maximum = 40'000;
  spec.meters = {meter};
  place_sections(spec, 4, 1500, -2000, 100 * kMillisecond, 100 * kMillisecond, 0);
  spec.speed = {{0, 2.0}};
  spec.work = {{0, 1}};
  return spec;
}

struct Field {
  ImplementSpec spec;
  Drill drill;
  TimeNs now = 0;
  explicit Field(ImplementSpec plan) : spec(std::move(plan)), drill(spec, 7) {
    drill.counting = true;
    drill.set_rate(0, 10'000, 0, 0);
    for (std::size_t i = 0; i < spec.sections.size(); ++i) drill.command_section(i, true, 0);
  }
  void run_to(TimeNs end) {
    for (; now < end; now += kDrillStep) drill.step(now);
  }
  std::vector<StepTruth> steps() const {
    return measure_steps(drill.meters[0].changes, drill.meters[0].trace, 0, now, spec.meters[0].maximum);
  }
};

}  // namespace

TEST_CASE("process data messages are the fact sheet's check vectors") {
  CHECK(process_bytes(kValue, 18, 6, 18'000) == Bytes8{0x23, 0x01, 0x06, 0x00, 0x50, 0x46, 0x00, 0x00});
  CHECK(process_bytes(kTimeInterval, 0, 116, 1000) == Bytes8{0x04, 0x00, 0x74, 0x00, 0xE8, 0x03, 0x00, 0x00});
  CHECK(process_bytes(kChangeThreshold, 5, 141, 1) == Bytes8{0x58, 0x00, 0x8D, 0x00, 0x01, 0x00, 0x00, 0x00});
  CHECK(process_bytes(kMinimumThreshold, 18, 7, 2147483647) ==
        Bytes8{0x26, 0x01, 0x07, 0x00, 0xFF, 0xFF, 0xFF, 0x7F});
  CHECK(process_bytes(kMaximumThreshold, 18, 7, -2147483647) ==
        Bytes8{0x27, 0x01, 0x07, 0x00, 0x01, 0x00, 0x00, 0x80});
  CHECK(acknowledge_bytes(kSetAndAcknowledge, 0x123, 7, 0x10, true) ==
        Bytes8{0x3D, 0x12, 0x07, 0x00, 0x10, 0xFA, 0xFF, 0xFF});
  CHECK(acknowledge_bytes(kValue, 3, 6, 0x80, false) ==
        Bytes8{0x3D, 0x00, 0x06, 0x00, 0x80, 0xFF, 0xFF, 0xFF});
  CHECK(status_bytes(0x09, 0x80, 0x61) == Bytes8{0xFE, 0xFF, 0xFF, 0xFF, 0x09, 0x80, 0x61, 0xFF});
  CHECK(client_task_bytes(true) == Bytes8{0xFF, 0xFF, 0xFF, 0xFF, 0x01, 0x00, 0x00, 0x00});
  CHECK(descriptor_bytes(0x81, {0xFF}) == Bytes8{0x81, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
}

TEST_CASE("the description is the fact sheet's bytes") {
  ImplementSpec spec = working_drill();
  spec.designator = "AB";
  spec.software = "1";
  spec.serial = "77";
  spec.client_version = 3;
  const Pool pool = build_pool(spec, 0xA00284000CC00102u);
  Bytes8 head = {'D',  'V',  'C',  0,    0,    2,    'A',  'B', 1,   '1', 0x02,
                 0x01, 0xC0, 0x0C, 0x00, 0x84, 0x02, 0xA0, 2,   '7', '7'};
  head.insert(head.end(), pool.structure_label.begin(), pool.structure_label.end());
  const Bytes8 rest = {0x65, 0x6E, 0x4F, 0x03, 0x00, 0x00, 0xFF,
                       // the first presentation: offset 0, scale 0.01 as a float, one decimal
                       'D', 'V', 'P', 1, 0, 0, 0, 0, 0, 0x0A, 0xD7, 0x23, 0x3C, 1, 5, 'k', 'g', '/', 'h',
                       'a'};
  head.insert(head.end(), rest.begin(), rest.end());
  REQUIRE(pool.bytes.size() > head.size());
  CHECK(Bytes8(pool.bytes.begin(), pool.bytes.begin() + static_cast<std::ptrdiff_t>(head.size())) == head);
  CHECK(pool.extended_label.empty());
  for (const std::uint8_t byte : pool.structure_label) CHECK(byte != 0xFF);

  // Walk over all objects by the lengths of 4.1 to 4.6: they end exactly at the end, and are as many as told.
  std::size_t at = 2 + 3 + 1 + 2 + 1 + 1 + 8 + 1 + 2 + 14;
  unsigned objects = 1, sections = 0;
  const auto text = [&](std::size_t place) { return std::size_t{1} + pool.bytes[place]; };
  while (at + 5 <= pool.bytes.size()) {
    const std::string table(pool.bytes.begin() + static_cast<std::ptrdiff_t>(at),
                            pool.bytes.begin() + static_cast<std::ptrdiff_t>(at) + 3);
    const std::size_t begin = at;
    at += 5;
    if (table == "DET") {
      sections += pool.bytes[at] == 4;
      ++at;
      at += text(at) + 4;
      at += 2 + 2 * (pool.bytes[at] | pool.bytes[at + 1] << 8);
    } else if (table == "DPD") {
      at += 4;
      at += text(at) + 2;
    } else if (table == "DPT") {
      at += 6;
      at += text(at) + 2;
    } else {
      INFO(begin);
      REQUIRE(table == "DVP");
      at += 9;
      at += text(at);
    }
    ++objects;
  }
  CHECK(at == pool.bytes.size());
  CHECK(objects == pool.objects);
  CHECK(sections == 4);
  spec.client_version = 4;
  CHECK(build_pool(spec, 1).extended_label.size() == 16);
  spec.padding_objects = 100;
  CHECK(build_pool(spec, 1).structure_label != pool.structure_label);
}

TEST_CASE("dead time and rise time of a first order meter are those of the closed form") {
  Field field(working_drill());
  field.run_to(s(10));
  field.drill.set_rate(0, 14'000, field.now, field.now);
  field.run_to(s(25));
  field.drill.set_rate(0, 8'000, field.now, field.now);
  field.run_to(s(40));
  const auto steps = field.steps();
  REQUIRE(steps.size() == 2);
  for (const StepTruth& step : steps) {
    CHECK(step.answered);
    CHECK(*step.dead_time_s == Approx(0.6 + 0.8 * std::log(1 / 0.95)).margin(0.006));
    CHECK(*step.rise_time_s == Approx(0.8 * std::log(9.0)).margin(0.006));
    CHECK(*step.overshoot_pct == Approx(0).margin(0.01));
    CHECK(*step.settled == Approx(step.to).margin(1));
  }
}

TEST_CASE("overshoot of a second order meter is that of the closed form") {
  ImplementSpec spec = working_drill();
  spec.meters[0].order = 2;
  spec.meters[0].damping = 0.3;
  Field field(spec);
  field.run_to(s(15));
  field.drill.set_rate(0, 14'000, field.now, field.now);
  field.run_to(s(45));
  const auto steps = field.steps();
  REQUIRE(steps.size() == 1);
  CHECK(*steps[0].overshoot_pct ==
        Approx(100 * std::exp(-std::numbers::pi * 0.3 / std::sqrt(1 - 0.09))).margin(0.7));
}

TEST_CASE("totals are rate times width times way") {
  Field field(working_drill());
  field.run_to(s(2));
  field.drill.reset_totals();
  field.run_to(s(32));  // 30 s at 2 m/s, 6 m wide, 10 g/m2
  CHECK(field.drill.area_m2 == Approx(360.0).epsilon(1e-6));
  CHECK(field.drill.distance_mm == Approx(60'000.0).epsilon(1e-6));
  CHECK(field.drill.time_s == Approx(30.0).epsilon(1e-6));
  CHECK(field.drill.meters[0].total == Approx(3600.0).epsilon(1e-6));
  field.drill.command_section(0, false, field.now);
  field.drill.command_section(1, false, field.now);
  field.run_to(s(33));
  field.drill.reset_totals();
  field.run_to(s(43));  // half of the width
  CHECK(field.drill.area_m2 == Approx(60.0).epsilon(1e-6));
  CHECK(field.drill.meters[0].total == Approx(600.0).epsilon(1e-6));
}

TEST_CASE("section delays are those of the sections; a stuck section never follows") {
  ImplementSpec spec = working_drill();
  FaultSpec stuck;
  stuck.what = Trouble::section_stuck_on;
  stuck.section = 2;
  stuck.at = s(1);
  spec.faults = {stuck};
  Field field(spec);
  field.run_to(s(3));
  for (std::size_t i = 0; i < 4; ++i) field.drill.command_section(i, false, field.now);
  field.run_to(s(5));
  CHECK_FALSE(field.drill.sections[0].on);
  CHECK(field.drill.sections[1].on);
  REQUIRE(field.drill.sections[0].off_delays.size() == 1);
  CHECK(field.drill.sections[0].off_delays[0] == Approx(0.1).margin(0.026));
  CHECK(field.drill.sections[1].off_delays.empty());
}

TEST_CASE("a meter that does not answer keeps its rate, and the truth says so") {
  ImplementSpec spec = working_drill();
  FaultSpec dead;
  dead.what = Trouble::meter_dead;
  dead.at = s(5);
  spec.faults = {dead};
  Field field(spec);
  field.run_to(s(10));
  field.drill.set_rate(0, 14'000, field.now, field.now);
  field.run_to(s(20));
  CHECK(field.drill.meters[0].delivered() == Approx(10'000));
  const auto steps = field.steps();
  REQUIRE(steps.size() == 1);
  CHECK_FALSE(steps[0].answered);
  CHECK_FALSE(steps[0].dead_time_s);
}

TEST_CASE("random drills: the same seed the same bytes, and within healthy ranges") {
  const std::string scenario = TRAMLOG_SOURCE_DIR "/captures/seeding-random-healthy/scenario.toml";
  const auto run = [&](std::uint64_t seed) {
    Scratch scratch;
    PlayOptions options;
    options.seed = seed;
    const auto played = play_file(scenario, scratch.path("c.pcapng"), scratch.path("t.json"), options);
    REQUIRE(played.ok());
    return std::pair(Scratch::read(scratch.path("c.pcapng")), Scratch::read(scratch.path("t.json")));
  };
  const auto first = run(3);
  CHECK(first == run(3));
  CHECK(first.first != run(4).first);
  for (std::uint64_t seed = 5; seed < 8; ++seed) {
    const auto truth = nlohmann::json::parse(run(seed).second)["implements"][0];
    CHECK(truth["healthy"] == true);
    CHECK(truth["faults"].empty());
    for (const auto& meter : truth["meters"]) {
      CHECK(meter["steps"].size() >= 4);
      CHECK(meter["dead_time_s"].get<double>() < 1.2);
      CHECK(meter["rise_time_s"].get<double>() < 2.5);
      CHECK(meter["overshoot_pct"].get<double>() < 8);
      CHECK(std::abs(meter["settled_error_pct"].get<double>()) < 1);
      CHECK(meter["total_raw"] == meter["total_sent_raw"]);
      CHECK(meter["total_raw"].get<std::int64_t>() > 1000);
    }
    for (const auto& section : truth["sections"]) {
      REQUIRE(section["on_delays_s"].size() >= 2);
      for (const auto& delay : section["on_delays_s"]) CHECK((delay > 0.2 && delay < 1.0));
      for (const auto& delay : section["off_delays_s"]) CHECK((delay > 0.1 && delay < 0.8));
    }
  }
}

TEST_CASE("an implement that cannot be played is refused with key, file and line") {
  const std::string head =
      "title = \"x\"\nstart = 2026-04-07T06:12:00Z\nduration = 5\ninclude = \"" TRAMLOG_SOURCE_DIR
      "/captures/machine/seeding.toml\"\n[implement]\nclient = \"drill\"\n";
  const auto problem = [&](const std::string& rest) {
    Scratch scratch;
    const auto played =
        play_file(scratch.write("s.toml", head + rest), scratch.path("c.pcapng"), scratch.path("t.json"), {});
    REQUIRE_FALSE(played.ok());
    return played.error().what + " " + played.error().where;
  };
  const std::string partner = "task_controller = \"task controller\"\n";
  CHECK(problem("task_controller = \"nobody\"\n").find("'nobody'") != std::string::npos);
  CHECK(problem(partner).find("key 'meter': is missing") != std::string::npos);
  CHECK(problem(partner + "speed = [[5, 1], [4, 2]]\n").find("s.toml:8") != std::string::npos);
  CHECK(problem(partner + "random = true\n[[implement.fault]]\nwhat = \"overlap\"\n")
            .find("the drill is drawn") != std::string::npos);
  CHECK(problem(partner + "[[implement.meter]]\n[[implement.fault]]\nwhat = \"meter-slow\"\nmeter = 2\n")
            .find("key 'meter'") != std::string::npos);
}
