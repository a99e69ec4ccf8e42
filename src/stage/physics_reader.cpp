// The machine's power and wiring, and the keys of what happens to them (SCENARIO.md).
#include <algorithm>

#include "stage/scenario_parts.hpp"
#include "stage/wiring.hpp"

namespace tramlog::stage {
namespace {

using What = HappeningSpec::What;

constexpr double kMostVolts = 60;
constexpr std::size_t kMaxParts = 100;
constexpr std::size_t kMaxText = 500;

const ControllerSpec* controller_called(const Scenario& scenario, const std::string& label) {
  for (const ControllerSpec& controller : scenario.controllers) {
    if (controller.label == label) return &controller;
  }
  return nullptr;
}

std::vector<std::string> labels(TableReader& in, std::string_view key, const Scenario& scenario) {
  std::vector<std::string> found = in.texts(key);
  for (const std::string& label : found) {
    if (controller_called(scenario, label) == nullptr)
      in.complain(key, "no controller has the label '" + label + "'", "use the label of a controller");
  }
  return found;
}

std::optional<double> optional_real(TableReader& in, std::string_view key, double low, double high) {
  if (!in.has(key)) {
    in.any(key);
    return std::nullopt;
  }
  return real(in, key, low, low, high);
}

std::optional<SpanNs> optional_span(TableReader& in, std::string_view key, SpanNs low, SpanNs high) {
  if (!in.has(key)) {
    in.any(key);
    return std::nullopt;
  }
  return in.span(key, low, low, high);
}

bool supply_known(const Scenario& scenario, const std::string& name) {
  return std::any_of(scenario.controllers.begin(), scenario.controllers.end(),
                     [&](const ControllerSpec& controller) { return controller.supply == name; });
}

void read_supplies(TableReader& in, Scenario& scenario, Problems& problems) {
  for (const Node* node : in.tables("supply")) {
    TableReader entry(*node, problems);
    SupplySpec supply;
    supply.name = entry.needed_text("name");
    supply.side = entry.text("side", "");
    supply.drop = real(entry, "drop", 0, 0, kMostVolts);
    supply.profile = knots(entry, "profile", 0, kMostVolts);
    scenario.supplies.push_back(std::move(supply));
    if (scenario.supplies.size() > kMaxParts) in.complain("supply", "are too many", "describe at most 100");
  }
}

void read_branches(TableReader& in, Scenario& scenario, Problems& problems) {
  std::vector<std::string> placed;
  for (const Node* node : in.tables("branch")) {
    TableReader entry(*node, problems);
    BranchSpec branch;
    branch.name = entry.needed_text("name");
    if (find_branch(scenario, branch.name) != nullptr)
      entry.complain("name", "is used twice", "give each branch its own name");
    branch.behind = entry.text("behind", "");
    // Only branches above: so it is a tree.
    if (!branch.behind.empty() && find_branch(scenario, branch.behind) == nullptr)
      entry.complain("behind", "no branch above is called '" + branch.behind + "'",
                     "name a branch that is described before");
    branch.power = entry.flag("power", true);
    branch.controllers = labels(entry, "controllers", scenario);
    for (const std::string& label : branch.controllers) {
      if (std::find(placed.begin(), placed.end(), label) != placed.end())
        entry.complain("controllers", "'" + label + "' is on two branches", "leave it on one");
      placed.push_back(label);
    }
    scenario.branches.push_back(std::move(branch));
    if (scenario.branches.size() > kMaxParts) in.complain("branch", "are too many", "describe at most 100");
  }
}

}  // namespace

void read_machine(TableReader& in, Scenario& scenario, Problems& problems) {
  for (const char* key : {"power", "supply", "branch", "cause", "recorder"})
    scenario.tells_causes |= in.has(key);
  if (const Node* node = in.table("power")) {
    TableReader power(*node, problems);
    scenario.power.battery = real(power, "battery", scenario.power.battery, 0, kMostVolts);
    scenario.power.alternator = real(power, "alternator", scenario.power.alternator, 0, kMostVolts);
    if (power.has("running")) scenario.power.running = power.flag("running", true);
  }
  read_supplies(in, scenario, problems);
  read_branches(in, scenario, problems);
  for (const Node* node : in.tables("cause")) {
    TableReader entry(*node, problems);
    CauseSpec cause;
    cause.code = entry.needed_text("code");
    cause.from = entry.span("from", 0, 0, kLongestScenario);
    cause.until = optional_span(entry, "until", 0, kLongestScenario);
    cause.controllers = labels(entry, "controllers", scenario);
    cause.supply = entry.text("supply", "");
    cause.branch = entry.text("branch", "");
    cause.origin = entry.text("origin", "");
    cause.bus = read_bus(entry, scenario);
    scenario.causes.push_back(std::move(cause));
  }
  if (const Node* node = in.table("recorder")) {
    TableReader entry(*node, problems);
    scenario.recorder.notes = true;
    scenario.recorder.run = static_cast<std::uint64_t>(entry.integer("run", 1, 1, 1'000'000));
    scenario.recorder.boot = static_cast<std::uint64_t>(entry.integer("boot", 1, 0, 1'000'000));
  }
}

void read_physics(TableReader& in, HappeningSpec& event, const Scenario& scenario) {
  event.branch = in.text("branch", "");
  event.text = in.text("text", "");
  event.volts = optional_real(in, "volts", 0, kMostVolts);
  event.share = optional_real(in, "share", 0, 1);
  event.load = optional_real(in, "load", 0, 3);
  event.every = optional_span(in, "every", kSecond, kLongestScenario);
  event.times = spans(in, "times", kLongestScenario);
  if (in.has("openings"))
    event.openings = static_cast<unsigned>(in.integer("openings", 1, 1, 1000));
  else
    in.any("openings");
  event.shortest = in.span("shortest", event.shortest, kMillisecond, kMinute);
  event.longest = in.span("longest", std::max(event.longest, event.shortest), event.shortest, kMinute);
  event.period = in.span("period", event.period, 100 * kMicrosecond, kMinute);
  event.controllers = labels(in, "controllers", scenario);
  event.how = static_cast<HappeningSpec::Loss>(in.choice("how", 0, {"stops", "frozen", "not-available"}));

  const bool branch = event.what == What::connector_opens || event.what == What::trunk_opens;
  if (branch && find_branch(scenario, event.branch) == nullptr)
    in.complain("branch", "is missing or unknown", "name a [[branch]]");
  if (event.what == What::fuse_opens && event.supply.empty() && event.side.empty())
    in.complain("supply", "is missing", "name the supply that loses its fuse");
  if (event.what == What::contact_loose && event.controller.empty() && event.supply.empty())
    in.complain("controller", "is missing", "name the controller or the supply whose contact is loose");
  const bool supply = event.what == What::fuse_opens || event.what == What::contact_loose;
  if (supply && !event.supply.empty() && !supply_known(scenario, event.supply))
    in.complain("supply", "nobody is on the supply '" + event.supply + "'", "use the supply of a controller");
  if (event.what == What::restarts_itself && !event.every && event.times.empty())
    in.complain("every", "is missing", "say every how many seconds, or give times");
  if (event.what == What::voltage && !event.volts)
    in.complain("volts", "is missing", "say which voltage is reached");
  const bool words = event.what == What::mark || event.what == What::disk_trouble;
  if (words && (event.text.empty() || event.text.size() > kMaxText))
    in.complain("text", "is missing or too long", "give the words of the note, at most 500 bytes");
  if (event.what == What::floods) {
    const ControllerSpec* controller = controller_called(scenario, event.controller);
    const bool sends = controller != nullptr &&
                       std::any_of(controller->messages.begin(), controller->messages.end(),
                                   [&](const MessageSpec& message) {
                                     return message.pgn == event.pgn &&
                                            message.when == MessageSpec::When::cyclic && !message.fast_packet;
                                   });
    if (!sends) in.complain("pgn", "is no cyclic message of this controller", "name one that it sends");
  }
}

}  // namespace tramlog::stage
