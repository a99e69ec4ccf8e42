// The machine's speed sources over whole drives: what a technician must be told, and what must not alarm him.
#include <random>

#include "unit/implement/machine_bench.hpp"

using namespace tramlog;

namespace {

/// m/s at t: standing, then passes of 40 s at `cruise` with turns at a third of it, braking and speeding up
/// at 0.5 m/s2; standing from 300 s on.
double true_speed(double t, double cruise = 3.0) {
  const double ramp = 0.5;
  if (t < 10 || t >= 300) return 0;
  const double in_pass = std::fmod(t - 10, 60);
  const double slow = cruise / 3;
  const double start = t < 70 ? std::min(cruise, ramp * (t - 10)) : cruise;
  if (t >= 290) return std::max(0.0, cruise - ramp * (t - 290));
  if (in_pass < 40) return std::min(start, t < 70 ? cruise : std::min(cruise, slow + ramp * in_pass));
  return std::max(slow, cruise - ramp * (in_pass - 40));
}
unsigned mm(double m_s) {
  return static_cast<unsigned>(std::lround(1000 * m_s));
}

/// Wheels slip by 5 %, the radar says nothing at standstill, the receiver lags by 0.7 s and is noisy.
Driving healthy() {
  Driving one;
  one.wheel = [](double t) { return mm(1.05 * true_speed(t)); };
  one.ground = [](double t) { return true_speed(t) < 0.2 ? 0xFFFFU : mm(true_speed(t)); };
  one.selected = [](double t) { return mm(true_speed(t)); };
  one.course = [noise = std::make_shared<std::mt19937>(5)](double t) {
    const double off = std::normal_distribution<double>(0, 0.03)(*noise);
    return static_cast<unsigned>(std::lround(100 * std::max(0.0, true_speed(t - 0.7) + off)));
  };
  one.work = [](double t) { return std::optional(t > 12 && t < 290 && std::fmod(t - 10, 60) < 40); };
  return one;
}

std::vector<CheckLine> drive(const Driving& driving, double to_s = 310) {
  MachineBench bench(machine::speed);
  play(bench, driving, 0, to_s);
  return bench.conclude(to_s);
}

void check_quiet(const std::vector<CheckLine>& lines) {
  for (const CheckLine& line : lines) {
    INFO(line.code << " " << line.subject << ": " << line.text);
    CHECK(line.verdict != Verdict::attention);
  }
}

}  // namespace

TEST_CASE("a healthy drive with turns, braking, slip and a lagging receiver", "[speed]") {
  const auto lines = drive(healthy());
  check_quiet(lines);
  for (const char* code : {"speed.source", "speed.sources-differ", "speed.zero-while-working"})
    CHECK(line_of(lines, code).verdict == Verdict::pass);
  for (const char* subject :
       {"wheel-based speed", "ground-based speed", "machine selected speed", "positioning speed"})
    CHECK(line_of(lines, "speed.source-lost", subject).verdict == Verdict::pass);
  // 3100 messages of each tractor source; the radar's begin and end with the motion.
  const std::string& text = line_of(lines, "speed.source").text;
  CHECK(holds(text, "wheel-based speed (3100 valid values)"));
  CHECK(holds(text, "Calculated with the machine selected speed for 100 %"));
  CHECK(holds(text, "The machine selected speed is from: ground."));
  // 1.05 against 1: 4.8 % of the faster.
  CHECK(holds(line_of(lines, "speed.sources-differ").text,
              "wheel-based speed and ground-based speed differ by 4.8 %"));
}

TEST_CASE("a source that is lost is told with its times", "[speed]") {
  const auto how = GENERATE(as<std::string>{}, "no message", "not available", "in error");
  const auto which = GENERATE(0, 1, 2, 3);
  Driving driving = healthy();
  Driving::Source* sources[] = {&driving.wheel, &driving.ground, &driving.selected, &driving.course};
  const char* terms[] = {"wheel-based speed", "ground-based speed", "machine selected speed",
                         "positioning speed"};
  const bool course = which == 3;
  const Driving::Source good = *sources[which];
  *sources[which] = [=](double t) -> std::optional<unsigned> {
    if (t < 100 || t >= 130) return good(t);
    if (how == "no message") return std::nullopt;
    return how == "in error" ? (course ? 0xFFFEU : 0xFE01U) : 0xFFFFU;
  };
  const auto lines = drive(driving);
  const CheckLine& line = line_of(lines, "speed.source-lost", terms[which]);
  INFO(how << ": " << line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "losses") == 1);
  // The last valid value came up to 0.2 s before 100 s, the next one up to 0.2 s after 130 s.
  CHECK(to_seconds(*line.start - MachineBench::time(100)) == Approx(-0.1).margin(0.11));
  CHECK(to_seconds(*line.end - MachineBench::time(130)) == Approx(0).margin(0.21));
  CHECK(figure_of(line, "longest_s") == Approx(30.1).margin(0.21));
  REQUIRE(line.moments.size() == 2);
  CHECK(holds(line.moments[0].text, how));
  CHECK(holds(line.moments[0].text,
              which == 2 ? "ground-based speed is used" : "machine selected speed is used"));
  CHECK(holds(line.moments[1].text, "is back after 30 s"));
  for (const CheckLine& other : lines) {
    INFO(other.code << ": " << other.text);
    CHECK(
        ((other.code == line.code && other.subject == line.subject) || other.verdict != Verdict::attention));
  }
  if (which == 2) CHECK(holds(line_of(lines, "speed.source").text, "ground-based speed for"));
}

TEST_CASE("shorter gaps are no loss, and a loss may last to the end", "[speed]") {
  Driving driving = healthy();
  const auto good = driving.wheel;
  driving.wheel = [=](double t) -> std::optional<unsigned> {
    if (std::fmod(t, 20) < 1.2 || t > 200) return std::nullopt;
    return good(t);
  };
  const auto lines = drive(driving, 250);
  const CheckLine& line = line_of(lines, "speed.source-lost", "wheel-based speed");
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "losses") == 1);
  CHECK(holds(line.text, "until the recording's end"));
  CHECK(figure_of(line, "longest_s") == Approx(50.1).margin(0.15));
  CHECK_FALSE(line.end);
}

TEST_CASE("key off, a sleeping bus and a standstill are no loss", "[speed]") {
  // The key goes off at 305 s, the tractor's messages end at 308 s, the task controller talks on.
  Driving driving = healthy();
  const Driving before = driving;
  driving.key = [](double t) { return t < 305 ? 1U : 0U; };
  for (Driving::Source* source : {&driving.wheel, &driving.ground, &driving.selected, &driving.course})
    *source = [good = *source](double t) -> std::optional<unsigned> {
      return t < 308 ? good(t) : std::nullopt;
    };
  check_quiet(drive(driving, 400));
  // The same while driving, key unknown, but everything ends at once.
  driving = healthy();
  driving.key = [](double) { return 3U; };
  MachineBench bench(machine::speed);
  play(bench, driving, 0, 150);
  check_quiet(bench.conclude(400));
  // At standstill only the selected speed goes away.
  driving = healthy();
  driving.selected = [](double t) { return t < 303 ? mm(true_speed(t)) : 0xFFFFU; };
  check_quiet(drive(driving, 400));
}

TEST_CASE("a source that comes every 5 s is missed later", "[speed]") {
  MachineBench bench(machine::speed);
  Driving driving;
  driving.wheel = [](double) { return 2500U; };
  for (int i = 0; i < 60; ++i) {
    play(bench, driving, 5 * i, 5 * i + 5);
    if (i < 45) bench.send(5 * i + 5 - 0.01, 0xFEE8, 0x1C, {0, 0, 0, 9, 0, 0, 0, 0});
  }
  const auto lines = bench.conclude(300);
  const CheckLine& line = line_of(lines, "speed.source-lost", "positioning speed");
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "losses") == 1);
  CHECK(figure_of(line, "longest_s") == Approx(300 - 225).margin(0.1));
}

TEST_CASE("what the recorder missed is no loss; what lasts beyond is one", "[speed]") {
  Driving driving = healthy();
  MachineBench bench(machine::speed);
  play(bench, driving, 0, 100);
  bench.blind(110);
  driving.wheel = nullptr;
  play(bench, driving, 110, 140);
  const auto lines = bench.conclude(140);
  CHECK(line_of(lines, "speed.source-lost", "ground-based speed").verdict == Verdict::pass);
  const CheckLine& line = line_of(lines, "speed.source-lost", "wheel-based speed");
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "longest_s") == Approx(30).margin(0.2));
}

TEST_CASE("sources that differ", "[speed]") {
  const auto which = GENERATE(0, 1, 2);
  Driving driving = healthy();
  Driving::Source* sources[] = {&driving.wheel, &driving.ground, &driving.selected};
  // The wheels slip by 2 % here: then all others lie near to each other.
  driving.wheel = [](double t) { return mm(1.02 * true_speed(t)); };
  const Driving::Source good = *sources[which];
  *sources[which] = [=](double t) -> std::optional<unsigned> {
    const auto raw = good(t);
    return t < 150 || t >= 180 || !raw || *raw > 0xFAFF ? raw : std::optional(*raw * 118 / 100);
  };
  const auto lines = drive(driving);
  const CheckLine& line = line_of(lines, "speed.sources-differ");
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  // 18 % more: of the faster 1 - 1 / 1.18 = 15.3 %, the wheel's with its slip 1 - 1 / (1.02 x 1.18) = 16.9 %.
  CHECK(figure_of(line, "worst_pct") == Approx(which == 0 ? 16.9 : 15.3).margin(1.5));
  // Seen once the filter has followed, and over once it has again: within 2 s.
  CHECK(to_seconds(*line.start - MachineBench::time(150)) == Approx(1).margin(1.2));
  CHECK(figure_of(line, "longest_s") == Approx(30).margin(2));
  const char* terms[] = {"The wheel-based speed stands alone", "The ground-based speed stands alone",
                         "The machine selected speed stands alone"};
  CHECK(holds(line.text, terms[which]));
}

TEST_CASE("differences that are short, small or at walking pace are none", "[speed]") {
  Driving driving = healthy();
  driving.wheel = [](double t) { return mm((std::fmod(t, 30) < 2 ? 1.2 : 1.04) * true_speed(t)); };
  CHECK(line_of(drive(driving), "speed.sources-differ").verdict == Verdict::pass);
}

TEST_CASE("a simulated speed is no source to compare with, and told while work is on", "[speed]") {
  Driving driving = healthy();
  driving.selected = [](double) { return 4000U; };
  driving.selected_from = [](double) { return 4U; };
  const auto lines = drive(driving);
  CHECK(line_of(lines, "speed.sources-differ").verdict == Verdict::pass);
  const CheckLine& line = line_of(lines, "speed.source");
  CHECK(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "is simulated while work is on"));
}

TEST_CASE("work at speed zero", "[speed]") {
  Driving driving = healthy();
  const auto working = driving.work;
  driving.selected = [](double t) { return t >= 85 && t < 97 ? 0U : mm(true_speed(t)); };
  auto lines = drive(driving);
  const CheckLine wrong = line_of(lines, "speed.zero-while-working");
  INFO(wrong.text);
  REQUIRE(wrong.verdict == Verdict::attention);
  CHECK(figure_of(wrong, "times") == 1);
  CHECK(figure_of(wrong, "longest_s") == Approx(12).margin(0.2));
  CHECK(to_seconds(*wrong.start - MachineBench::time(85)) == Approx(0).margin(0.15));
  CHECK(holds(wrong.text, "but wheel-based speed says 3.15 m/s"));
  CHECK(holds(wrong.text, "the speed in use is wrong"));
  // The machine really stands.
  for (Driving::Source* source : {&driving.wheel, &driving.ground, &driving.selected, &driving.course})
    *source = [good = *source](double t) { return t >= 85 && t < 97 ? std::optional(0U) : good(t); };
  lines = drive(driving);
  CHECK(holds(line_of(lines, "speed.zero-while-working").text, "Either the machine stood"));
  // It stands for two seconds only.
  driving = healthy();
  driving.selected = [](double t) { return t >= 85 && t < 87 ? 0U : mm(true_speed(t)); };
  lines = drive(driving);
  CHECK(line_of(lines, "speed.zero-while-working").verdict == Verdict::pass);
  // The implement is gone, its last word was "on".
  driving = healthy();
  driving.work = [](double t) { return std::optional(t > 12 && t < 290); };
  driving.implement_talks = [](double t) { return t < 270; };
  driving.work = [](double) { return std::optional(true); };
  driving.selected = [](double t) { return t < 280 ? 2000U : 0U; };
  CHECK(line_of(drive(driving, 400), "speed.zero-while-working").verdict == Verdict::pass);
}

TEST_CASE("the selected speed falls back to a worse source", "[speed]") {
  Driving driving = healthy();
  driving.selected_from = [](double t) { return t >= 90 && t < 120 ? 0U : 1U; };
  auto lines = drive(driving);
  const CheckLine line = line_of(lines, "speed.source");
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "The machine selected speed is from wheel instead of ground, 1 time"));
  CHECK(figure_of(line, "longest_s") == Approx(30).margin(0.15));
  CHECK(to_seconds(*line.start - MachineBench::time(90)) == Approx(0).margin(0.01));
  CHECK(to_seconds(*line.end - MachineBench::time(120)) == Approx(0).margin(0.01));
  REQUIRE(line.moments.size() == 2);
  CHECK(line.moments[0].text == "the machine selected speed from ground to wheel");
  // A better one, a moment's change, and a change at standstill are none.
  driving.selected_from = [](double t) {
    return t < 100 ? 0U : t < 150 ? 1U : t < 200 ? 3U : t < 200.5 ? 0U : t < 302 ? 1U : 7U;
  };
  check_quiet(drive(driving));
}

TEST_CASE("an implement reports another speed source", "[speed]") {
  const auto run = [](Address source, std::uint32_t from, std::uint32_t to) {
    MachineBench bench(machine::speed);
    play(bench, healthy(), 0, 80);
    bench.send(80, kPgnProcessData, source, value_bytes(0, 400, from));
    play(bench, healthy(), 80, 100);
    bench.send(100, kPgnProcessData, source, value_bytes(0, 400, to));
    play(bench, healthy(), 100, 120);
    bench.send(120, kPgnProcessData, source, value_bytes(0, 400, from));
    play(bench, healthy(), 120, 200);
    return bench.conclude(200);
  };
  auto lines = run(MachineBench::kImplement, 6, 1);
  const CheckLine& line = line_of(lines, "speed.source");
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(holds(line.text,
              "The speed of element 0 of the implement at address 128 (DDI 400) is from wheel instead of "
              "machine selected"));
  CHECK(figure_of(line, "longest_s") == Approx(20).margin(0.15));
  check_quiet(run(MachineBench::kImplement, 6, 6));
  check_quiet(run(MachineBench::kTaskController, 6, 1));  // a command to somebody, not a report
}

TEST_CASE("without speeds nothing is shown, and nothing passes", "[speed]") {
  const auto check = [](const std::vector<CheckLine>& lines, const char* words) {
    REQUIRE(lines.size() == 4);
    for (const CheckLine& line : lines) {
      CHECK(line.verdict == Verdict::not_shown);
      CHECK(holds(line.text, words));
    }
  };
  Driving driving;
  check(drive(driving), "nobody tells a speed");
  driving.wheel = [](double) { return 0xFFFFU; };
  check(drive(driving), "never with a valid speed");
  // One source, standing, nobody tells a work state.
  driving.wheel = [](double) { return 0U; };
  const auto lines = drive(driving);
  CHECK(line_of(lines, "speed.sources-differ").verdict == Verdict::not_shown);
  CHECK(line_of(lines, "speed.zero-while-working").verdict == Verdict::not_shown);
}
