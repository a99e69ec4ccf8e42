// Speeds and positions that stand while the machine moves, and all that stands for good reason.
#include <random>

#include "unit/implement/machine_bench.hpp"

using namespace tramlog;

namespace {

/// PGN 65096, 65097: speed and distance in mm, forwards, key on; 61474: from the ground.
Payload with_distance(unsigned mm_s, std::uint32_t mm, std::uint8_t last) {
  Payload out = le(mm_s, 2);
  for (const Payload& part : {le(mm, 4), Payload{0xFF, last}})
    out.insert(out.end(), part.begin(), part.end());
  return out;
}
/// PGN 129025: 48.5 degrees north, 11.25 east, and so much further north in mm (1e-7 degrees are 11.12 mm).
Payload place(double north_mm) {
  Payload out = le(static_cast<std::uint32_t>(485'000'000 + std::llround(north_mm / 11.12)), 4);
  for (const std::uint8_t byte : le(112'500'000U, 4)) out.push_back(byte);
  return out;
}

/// A field with hills and soft spots: about 3 m/s, 0.5 m/s more or less in 40 s, standing before 5 s.
double hilly(double t) {
  return t < 5 ? 0 : std::min(1.5 * (t - 5), 3 + 0.5 * std::sin(t * 2 * 3.14159265 / 40));
}
/// Standing, 3 m/s to the mm/s from 8 s on, and a turn at 1 m/s every minute.
double cruise(double t) {
  const double in_pass = std::fmod(t, 60);
  return t < 5 ? 0 : in_pass > 50 ? std::max(1.0, 3 - (in_pass - 50)) : std::min({3.0, t - 5, 1 + in_pass});
}
Driving::Source told(double (*speed)(double), double factor, double noise_mm_s = 0, unsigned step = 1) {
  return [=, random = std::make_shared<std::mt19937>(7)](double t) -> std::optional<unsigned> {
    const double off = noise_mm_s == 0 ? 0 : std::normal_distribution<double>(0, noise_mm_s)(*random);
    const double mm_s = speed(t) == 0 ? 0 : std::max(0.0, 1000 * factor * speed(t) + off);
    return static_cast<unsigned>(std::lround(mm_s / step)) * step;
  };
}
/// Repeats the last value of before `from`.
Driving::Source hold(const Driving::Source& good, double from, double to) {
  return [=, last = std::make_shared<std::optional<unsigned>>()](double t) {
    const auto now = good(t);
    if (t < from || t >= to || !*last) *last = now;
    return *last;
  };
}

struct Field {
  Driving::Source wheel, ground, course;                    // every 100, 100, 200 ms
  std::function<std::uint32_t(double t)> distance;          // of the wheel; none: not available
  std::function<std::optional<double>(double t)> north_mm;  // every 100 ms
  std::function<unsigned(double t)> key = [](double) { return 1U; };
};

void play(MachineBench& bench, const Field& field, double from_s, double to_s) {
  for (int step = 0; from_s + step / 10.0 < to_s; ++step) {
    const double t = from_s + step / 10.0;
    if (const auto raw = field.wheel ? field.wheel(t) : std::nullopt)
      bench.send(t + 0.001, 0xFE48, MachineBench::kTractor,
                 with_distance(*raw, field.distance ? field.distance(t) : 0xFFFFFFFF,
                               static_cast<std::uint8_t>(0xF1 | field.key(t) << 2)));
    if (const auto raw = field.ground ? field.ground(t) : std::nullopt)
      bench.send(t + 0.002, 0xFE49, MachineBench::kTractor, with_distance(*raw, 0xFFFFFFFF, 0xFD));
    if (step % 2 == 0)
      if (const auto raw = field.course ? field.course(t) : std::nullopt)
        bench.send(t + 0.003, 129026, MachineBench::kReceiver, course_bytes(*raw / 10));
    if (const auto mm = field.north_mm ? field.north_mm(t) : std::nullopt)
      bench.send(t + 0.004, 129025, MachineBench::kReceiver, place(*mm));
  }
}
std::vector<CheckLine> drive(const Field& field, double to_s = 180) {
  MachineBench bench(machine::standing_sources);
  play(bench, field, 0, to_s);
  return bench.conclude(to_s);
}
void check_quiet(const std::vector<CheckLine>& lines) {
  for (const CheckLine& line : lines) {
    INFO(line.code << " " << line.subject << ": " << line.text);
    CHECK(line.verdict != Verdict::attention);
  }
}
void check_frozen(const CheckLine& line, double from_s, double to_s) {
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "times") == 1);
  // The last living value came up to 0.2 s before, or was the same by chance; the first one after it up to
  // 0.2 s late.
  CHECK(to_seconds(*line.start - MachineBench::time(from_s)) == Approx(-0.3).margin(0.31));
  CHECK(to_seconds(*line.end - MachineBench::time(to_s)) == Approx(0.1).margin(0.11));
  CHECK(figure_of(line, "longest_s") == Approx(to_s - from_s + 0.3).margin(0.41));
}

}  // namespace

TEST_CASE("a speed that stands while another source goes through the hills is frozen", "[frozen]") {
  const auto which = GENERATE(0, 1, 2);
  Field field;
  field.wheel = told(hilly, 1.05, 8);
  field.ground = told(hilly, 1, 20);
  field.course = told(hilly, 1, 30);
  Driving::Source* sources[] = {&field.wheel, &field.ground, &field.course};
  const char* terms[] = {"wheel-based speed", "ground-based speed", "positioning speed"};
  *sources[which] = hold(*sources[which], 60, 85);
  const auto lines = drive(field);
  const CheckLine line = line_of(lines, "speed.frozen", terms[which]);
  check_frozen(line, 60, 85);
  CHECK(holds(line.text, "went through"));
  REQUIRE(line.moments.size() == 2);
  CHECK(holds(line.moments[1].text, "stood for 25"));
  CHECK(std::count_if(lines.begin(), lines.end(),
                      [](const CheckLine& one) { return one.verdict == Verdict::attention; }) == 1);
}

TEST_CASE("a speed that stands for a shorter time, or while nothing else changed, is not", "[frozen]") {
  Field field;
  field.wheel = hold(told(hilly, 1.05, 8), 60, 64);
  field.ground = told(hilly, 1, 20);
  check_quiet(drive(field));
  // It counts in steps of 0.1 m/s, and is held over the top of a hill: the ground stays within 100 mm/s.
  field.wheel = hold(told(hilly, 1.05, 8, 100), 86, 94);
  check_quiet(drive(field));
  // Nobody else tells a speed.
  field.wheel = hold(told(hilly, 1.05, 8), 60, 90);
  field.ground = nullptr;
  const auto lines = drive(field);
  check_quiet(lines);
  CHECK(line_of(lines, "speed.frozen").verdict == Verdict::pass);
  CHECK(holds(line_of(lines, "speed.frozen").text, "wheel-based speed for 30 s"));
  CHECK(holds(line_of(lines, "speed.frozen").text, "may be a steady cruise"));
}

TEST_CASE("another source that jumps once proves nothing", "[frozen]") {
  Field field;
  field.wheel = hold(told(hilly, 1, 8), 60, 85);
  field.ground = [](double t) { return std::optional(t < 5 ? 0U : t < 70 ? 3000U : 3500U); };
  check_quiet(drive(field));
}

TEST_CASE("a speed that never stood needs less proof than one that did", "[frozen]") {
  // 3 m/s, and 45 mm/s more or less in 20 s: 90 mm/s in all.
  const auto even = [](double t) { return t < 5 ? 0 : 3 + 0.045 * std::sin(t * 2 * 3.14159265 / 20); };
  Field field;
  field.ground = told(even, 1, 8);
  field.wheel = hold(told(even, 1.05, 8), 60, 74);
  check_frozen(line_of(drive(field), "speed.frozen", "wheel-based speed"), 60, 74);
  // It counts in steps of 20 mm/s and holds some for a second.
  field.wheel = hold(told(even, 1.05, 4, 20), 60, 74);
  check_quiet(drive(field));
}

TEST_CASE("speed and distance that stand together are frozen, whatever others tell", "[frozen]") {
  Field field;
  field.wheel = hold(told(hilly, 1, 8), 60, 72);
  // 3 m/s, counted in steps of 0.5 m.
  const auto counted = [](double t) {
    return static_cast<std::uint32_t>(std::max(0.0, t - 6) * 3000) / 500 * 500;
  };
  SECTION("with it") {
    field.distance = [=](double t) { return counted(t < 60 || t >= 72 ? t : 60); };
    const CheckLine line = line_of(drive(field), "speed.frozen", "wheel-based speed");
    check_frozen(line, 60, 72);
    CHECK(holds(line.text, "and its distance at 162.000 m"));  // 3 x (60 - 6)
  }
  SECTION("the distance goes on") {
    field.distance = counted;
    check_quiet(drive(field));
  }
  SECTION("the distance goes on, and one other source goes through the hills: it may be that one") {
    field.wheel = hold(told(hilly, 1, 8), 60, 85);
    field.ground = told(hilly, 1, 20);
    field.distance = counted;
    check_quiet(drive(field));
  }
  SECTION("no distance is told") {
    field.distance = [](double) { return 0xFFFFFFFFU; };
    check_quiet(drive(field));
  }
  SECTION("the distance never moved") {
    field.distance = [](double) { return 0U; };
    check_quiet(drive(field));
  }
  SECTION("the counter is full") {
    field.distance = [](double t) {
      return static_cast<std::uint32_t>(std::min(4211081215.0, 4211081215.0 + (t - 50) * 3000));
    };
    check_quiet(drive(field));
  }
  SECTION("only the distance stands") {
    field.wheel = told(hilly, 1, 8);
    field.distance = [=](double t) { return counted(t < 60 || t >= 72 ? t : 60); };
    check_quiet(drive(field));
  }
}

TEST_CASE("a cruise, a coarse sensor and a standstill are no frozen speed", "[frozen]") {
  Field field;
  SECTION("one source at a steady cruise") {
    field.wheel = told(cruise, 1);
  }
  SECTION("all at a steady cruise, the receiver with noise") {
    field.wheel = told(cruise, 1.05);
    field.ground = told(cruise, 1);
    field.course = told(cruise, 1, 30);
  }
  SECTION("the receiver lags behind by 0.7 s") {
    field.wheel = told(cruise, 1.05);
    field.course = told([](double t) { return cruise(t - 0.7); }, 1, 30);
  }
  SECTION("one that counts in steps of 1 km/h, beside a fine one on hills") {
    field.wheel = told(hilly, 1, 0, 278);
    field.ground = told(hilly, 1, 20);
  }
  SECTION("one that counts in steps of 1 m/s") {
    field.wheel = told(hilly, 1, 0, 1000);
    field.ground = told(hilly, 1, 20);
  }
  SECTION("the wheels turn evenly, slip comes and goes") {
    field.wheel = told(cruise, 1);
    field.ground = told([](double t) { return cruise(t) * (0.95 + 0.03 * std::sin(t)); }, 1, 20);
  }
  SECTION("another one jumps by 18 %") {
    field.wheel = told(cruise, 1);
    field.ground = told([](double t) { return cruise(t) * (t > 90 && t < 105 ? 1.18 : 1); }, 1);
    field.course = told(cruise, 1);
  }
  SECTION("a value by design") {
    field.wheel = [](double) { return std::optional(2500U); };
    field.ground = told(hilly, 1, 20);
  }
  SECTION("standing at zero, the receiver has noise") {
    field.wheel = [](double t) { return std::optional(t < 40 ? 2000U + static_cast<unsigned>(10 * t) : 0U); };
    field.course = told(hilly, 1, 300);
  }
  check_quiet(drive(field));
}

TEST_CASE("a coarse source is frozen when two others both say so", "[frozen]") {
  Field field;
  field.wheel = hold(told(cruise, 1), 90, 118);
  field.ground = told(cruise, 1, 20);
  SECTION("both") {
    field.course = told(cruise, 1, 30);
    // Until the turn at 110 s all cruise: it has stood since it came to 3 m/s at 62 s.
    const CheckLine line = line_of(drive(field), "speed.frozen", "wheel-based speed");
    check_frozen(line, 62.1, 118);
  }
  SECTION("one of the two stays") {
    field.course = told([](double t) { return t < 8 ? cruise(t) : 3.0; }, 1, 30);
    check_quiet(drive(field));
  }
}

TEST_CASE("what the recorder missed, a key that is off and a simulated speed prove nothing", "[frozen]") {
  Field field;
  field.wheel = hold(told(hilly, 1.05, 8), 60, 85);
  field.ground = told(hilly, 1, 20);
  SECTION("deaf in between") {
    MachineBench bench(machine::standing_sources);
    for (double t = 0; t < 180; t += 4) {
      play(bench, field, t, t + 4);
      bench.blind(t + 4);
    }
    check_quiet(bench.conclude(180));
  }
  SECTION("key off") {
    field.key = [](double t) { return t < 59 ? 1U : 0U; };
    check_quiet(drive(field));
  }
  SECTION("pauses of 2 s every 4 s") {
    field.wheel = [good = field.wheel](double t) -> std::optional<unsigned> {
      const auto raw = good(t);
      return t > 60 && std::fmod(t, 6) < 2 ? std::nullopt : raw;
    };
    check_quiet(drive(field));
  }
  SECTION("simulated") {
    MachineBench bench(machine::standing_sources);
    for (int step = 0; step < 1800; ++step) {
      const double t = step / 10.0;
      play(bench, field, t, t + 0.05);
      bench.send(
          t + 0.06, 0xF022, MachineBench::kTractor,
          with_distance(t < 30 ? 2000U + static_cast<unsigned>(step) : 2500U, 0xFFFFFFFF, 0xE1 | 4 << 2));
    }
    for (const CheckLine& line : bench.conclude(180))
      CHECK((line.subject != "machine selected speed" || line.verdict != Verdict::attention));
  }
}

TEST_CASE("a frozen speed may last to the end, and the recorder's deafness ends no earlier case",
          "[frozen]") {
  Field field;
  field.wheel = hold(told(hilly, 1.05, 8), 60, 1000);
  field.ground = told(hilly, 1, 20);
  const CheckLine line = line_of(drive(field), "speed.frozen", "wheel-based speed");
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "until the recording's end"));
  CHECK_FALSE(line.end);
  CHECK(figure_of(line, "longest_s") == Approx(120.1).margin(0.21));
}

TEST_CASE("a position that stands while the machine drives", "[frozen]") {
  Field field;
  field.wheel = told(hilly, 1, 8);
  const auto north = [](double t) { return std::optional(std::max(0.0, t - 5) * 3000); };
  SECTION("for 20 s") {
    field.north_mm = [=](double t) { return north(t < 60 || t >= 80 ? t : 59.9); };
    const auto lines = drive(field);
    const CheckLine line = line_of(lines, "position.frozen");
    check_frozen(line, 60, 80);
    // 3 m/s x (59.9 s - 5 s) = 164.7 m; 164700 / 11.12 = 14811 steps of 1e-7 degrees.
    CHECK(holds(line.text, "the position stands while the machine drives"));
    CHECK_FALSE(holds(line.text, "48.50"));  // where it stands is nobody's business
    CHECK(line_of(lines, "speed.frozen").verdict == Verdict::pass);
  }
  SECTION("never: told once a second anew") {
    field.north_mm = [=](double t) { return north(std::floor(t)); };
    const CheckLine line = line_of(drive(field), "position.frozen");
    INFO(line.text);
    CHECK(line.verdict == Verdict::pass);
    CHECK(holds(line.text, "0.9"));
  }
  SECTION("for 4 s") {
    field.north_mm = [=](double t) { return north(t < 60 || t >= 64 ? t : 59.9); };
    CHECK(line_of(drive(field), "position.frozen").verdict == Verdict::pass);
  }
  SECTION("not available for 20 s") {
    field.north_mm = [=](double t) { return t < 60 || t >= 80 ? north(t) : std::nullopt; };
    check_quiet(drive(field));
  }
  SECTION("while the machine stands") {
    field.wheel = [](double t) { return std::optional(t < 60 ? 2000U + static_cast<unsigned>(t) : 0U); };
    field.north_mm = [=](double t) { return north(std::min(t, 60.0)); };
    check_quiet(drive(field));
  }
  SECTION("while the wheels turn on the spot, by the radar's word") {
    field.ground = [](double t) { return std::optional(t < 60 ? 3000U : 0U); };
    field.north_mm = [=](double t) { return north(std::min(t, 60.0)); };
    check_quiet(drive(field));
  }
  SECTION("while the only speed stands too: which of the two is right nobody knows") {
    field.wheel = hold(field.wheel, 60, 80);
    field.north_mm = [=](double t) { return north(t < 60 || t >= 80 ? t : 59.9); };
    check_quiet(drive(field));
  }
  SECTION("the recorder is deaf every 4 s") {
    field.north_mm = [=](double t) { return north(t < 60 || t >= 80 ? t : 59.9); };
    MachineBench bench(machine::standing_sources);
    for (double t = 0; t < 120; t += 4) {
      play(bench, field, t, t + 4);
      bench.blind(t + 4);
    }
    check_quiet(bench.conclude(120));
  }
  SECTION("a place put in by hand") {
    field.north_mm = [](double) { return std::optional(0.0); };
    CHECK(line_of(drive(field), "position.frozen").verdict == Verdict::not_shown);
  }
}

TEST_CASE("without a changing source nothing is shown, and nothing passes", "[frozen]") {
  Field field;
  auto lines = drive(field);
  REQUIRE(lines.size() == 2);
  field.wheel = [](double) { return std::optional(0U); };
  for (const CheckLine& line : lines) CHECK(line.verdict == Verdict::not_shown);
  for (const CheckLine& line : drive(field)) CHECK(line.verdict == Verdict::not_shown);
}
