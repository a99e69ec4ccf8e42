#include "stage/draw.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "stage/draw_cause.hpp"

namespace tramlog::stage {
namespace {

constexpr unsigned kHealthyPercent = 20;
// Not enough to make a sender error-passive (8 of each error, passive at 128).
constexpr std::int64_t kMostPassingErrors = 15;
constexpr std::int64_t kFirstProprietarySpn = 520'192;

bool chance(Random& random, unsigned percent) {
  return random.below(100) < percent;
}

double moment(Random& random, const DrawnPlot& plot) {
  return static_cast<double>(random.between(12'000, static_cast<std::int64_t>(plot.duration * 900))) / 1000;
}

// What an ordinary day brings besides: none of it is the cause of anything else.
void disturb(Random& random, DrawnMachine& machine, DrawnPlot& plot) {
  if (chance(random, 25)) {
    const double length = static_cast<double>(random.between(50, 400)) / 1000;
    plot.events += fmt::format(
        "\n[[event]]\nat = {:.3f}\nwhat = \"error-frames\"\ncount = {}\nfor = {:.3f}\nclass = 136\ndata = "
        "\"00 00 04 0A 00 00 "
        "00 00\"\n",
        moment(random, plot), random.between(2, kMostPassingErrors), length);
  }
  if (!plot.at_power_up && chance(random, 20)) {
    for (DrawnUnit& unit : machine.units) {
      if (unit.label == "display" || unit.label == "task controller")
        unit.boot = static_cast<double>(random.between(5'000, 11'000)) / 1000;
    }
  }
  if (chance(random, 30)) {
    const DrawnUnit& unit = machine.units[random.below(machine.units.size())];
    plot.events += fmt::format(
        "\n[[event]]\nat = {:.3f}\nwhat = \"dtc-set\"\ncontroller = \"{}\"\nspn = {}\nfmi = {}\nfor = {}\n",
        moment(random, plot), unit.label, random.between(kFirstProprietarySpn, kFirstProprietarySpn + 400),
        random.below(2) == 0 ? 2 : 5, random.between(4, 25));
  }
  if (chance(random, 40)) {
    DrawnUnit& unit = machine.units[random.below(machine.units.size())];
    unit.messages.push_back(
        {0xFFA0, 3.0,
         fmt::format("  [[controller.message]]\n  send = \"on-change\"\n  pgn = 0xFFA0\n  period = {}\n  "
                     "payload = \"00 01 "
                     "02 03 04 05 06 07\"\n  vary = [ {{ byte = 1, how = \"random\" }} ]\n",
                     random.between(2, 9))});
  }
  const bool clock_counts = plot.events.find("logger-") == std::string::npos;
  if (clock_counts && chance(random, 8)) {
    plot.events +=
        fmt::format("\n[[event]]\nat = {:.3f}\nwhat = \"clock-step\"\nstep = {:.3f}\n", moment(random, plot),
                    static_cast<double>(random.between(-4'000, 30'000)) / 1000);
  }
  if (chance(random, 30)) plot.notes = true;
  if (!plot.notes && chance(random, 8)) plot.statistics = plot.needs_statistics;
  if (plot.notes && chance(random, 50)) {
    plot.events += fmt::format("\n[[event]]\nat = {:.3f}\nwhat = \"mark\"\ntext = \"driver saw a message\"\n",
                               moment(random, plot));
  }
  if (chance(random, 30)) machine.units[random.below(machine.units.size())].supply_in_roster = false;
  if (!plot.at_power_up && chance(random, 15))
    machine.units[random.below(machine.units.size())].in_roster = false;
}

}  // namespace

Result<Drawn> draw_scenario(std::uint64_t seed, const std::optional<std::string>& wanted) {
  Random random(seed_for(seed, "draw"));
  const auto& codes = drawable_causes();
  Drawn drawn;
  const bool healthy = random.below(100) < kHealthyPercent;
  const std::string& any = codes[random.below(codes.size())];
  if (wanted) {
    drawn.cause = *wanted == "none" ? "" : *wanted;
    if (!drawn.cause.empty() && std::find(codes.begin(), codes.end(), drawn.cause) == codes.end()) {
      return Error{ErrorKind::usage, fmt::format("no cause is called '{}'", drawn.cause), "--cause",
                   fmt::format("use none or one of: {}", fmt::join(codes, ", "))};
    }
  } else {
    drawn.cause = healthy ? "" : any;
  }
  DrawnPlot plot;
  plot.duration = static_cast<double>(random.between(60, 240));
  DrawnMachine machine = draw_machine(random, needs_of(drawn.cause));
  if (!drawn.cause.empty()) add_cause(drawn.cause, random, machine, plot);
  disturb(random, machine, plot);

  const auto day = random.between(1, 28), month = random.between(3, 10), hour = random.between(6, 20);
  drawn.scenario = fmt::format(
      "title = \"{}, drawn from {}\"\nstart = 2026-{:02}-{:02}T{:02}:12:00Z\nseed = {}\nduration = "
      "{}\n\n[[bus]]\nname = "
      "\"can0\"\nstatistics = {}\n\n[power]\nbattery = 12.6\nalternator = {:.1f}\n",
      machine.title, seed, month, day, hour, seed & INT64_MAX, plot.duration, plot.statistics,
      static_cast<double>(random.between(138, 144)) / 10);
  if (plot.notes) {
    drawn.scenario +=
        fmt::format("\n[recorder]\nrun = {}\nboot = {}\n", random.between(1, 400), random.between(1, 90));
  }
  drawn.scenario += machine_text(machine) + plot.events;
  drawn.roster = roster_text(machine);
  return drawn;
}

}  // namespace tramlog::stage
