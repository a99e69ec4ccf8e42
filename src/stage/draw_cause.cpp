#include "stage/draw_cause.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <map>

#include "stage/draw.hpp"

namespace tramlog::stage {
namespace {

class Plotter {
 public:
  Plotter(Random& random, DrawnMachine& machine, DrawnPlot& plot)
      : random_(random), machine_(machine), plot_(plot) {}

  void supply_unit() {
    event("contact-loose", moment(0.6), seconds(15, 40),
          fmt::format("controller = \"{}\"\nlongest = 0.4\n{}", any_implement().label,
                      chance(50) ? fmt::format("openings = {}\n", random_.between(2, 7)) : ""));
  }
  void supply_shared() {
    const std::string supply = shared_supply();
    event("fuse-opens", moment(0.6), chance(50) ? 0 : seconds(3, 20),
          fmt::format("supply = \"{}\"\n", supply));
  }
  void cranking() {
    // At least two that cannot bear it.
    unsigned weak = 0;
    for (DrawnUnit* unit : machine_.on_side("implement")) {
      if (weak < 2 || chance(50)) unit->keys = fmt::format("brown_out = {:.1f}\n", seconds(7.8, 9));
      ++weak;
    }
    event("crank", moment(0.4), seconds(0.5, 2), fmt::format("volts = {:.1f}\n", seconds(6, 7)));
  }
  void low_voltage() {
    for (DrawnUnit* unit : machine_.on_side("implement")) {
      if (chance(50) && unit->keys.find("reports") == std::string::npos)
        unit->keys += "reports_low_voltage = true\n";
    }
    DrawnUnit& sure = any_implement();
    sure.keys = fmt::format("brown_out = {:.1f}\nreports_low_voltage = true\n", seconds(7.5, 9));
    const double at = moment(0.3), takes = plot_.duration * seconds(0.3, 0.5);
    event("voltage", at, takes, fmt::format("volts = {:.1f}\n", seconds(6, 7.2)));
    if (chance(30)) event("voltage", at + takes + 5, 3, "volts = 13.8\n");
  }
  void connector() {
    const std::string branch = any_branch();
    const auto times = random_.between(1, 2);
    double at = moment(0.4);
    for (std::int64_t i = 0; i < times; ++i) {
      event("connector-opens", at, seconds(0.5, 5), fmt::format("branch = \"{}\"\n", branch));
      at += seconds(15, 20);
    }
  }
  void stub() {
    event("stub-opens", moment(0.6), chance(50) ? 0 : seconds(10, 30),
          fmt::format("controller = \"{}\"\n", any_implement().label));
  }
  void trunk() {
    event("trunk-opens", moment(0.6), chance(50) ? 0 : seconds(4, 20),
          fmt::format("branch = \"{}\"\n", any_branch()));
  }
  void termination() {
    event("terminator-missing", chance(50) ? 0 : moment(0.5), 0,
          fmt::format("share = {:.4f}\n", seconds(0.005, 0.03)));
  }
  void restarts() {
    event("restarts-itself", moment(0.4), plot_.duration,
          fmt::format("controller = \"{}\"\nevery = {:.1f}\n", any_implement().label, seconds(8, 20)));
  }
  void floods() {
    const DrawnUnit& unit = any_implement();
    event("floods", moment(0.6), seconds(8, 20),
          fmt::format("controller = \"{}\"\npgn = {}\nperiod = 0.0004\n", unit.label,
                      unit.messages.front().pgn));
  }
  void lost() { event("dies", moment(0.7), 0, fmt::format("controller = \"{}\"\n", any_implement().label)); }
  void bus_dead() {
    plot_.needs_statistics = true;
    event(chance(50) ? "power-fails" : "bus-shorted", moment(0.6), chance(60) ? seconds(4, 20) : 0, "");
  }
  void overload() {
    // Clearly beyond the 10 s above 80 % that count as one.
    event("overload", moment(0.6), seconds(13, 30), fmt::format("load = {:.2f}\n", seconds(0.85, 1.05)));
  }
  void bit_rate() {
    plot_.at_power_up = true;
    event("wrong-bit-rate", 0, 0,
          chance(50) ? "" : fmt::format("controller = \"{}\"\n", any_implement().label));
  }
  void address_conflict() {
    plot_.at_power_up = true;
    auto units = machine_.on_side("implement");
    DrawnUnit& one = *units.front();
    DrawnUnit& other = *units.back();
    other.address = one.address;
    other.keys += "moves = false\n";
    one.keys += "moves = false\n";
    told("network.address-conflict", {one.label, other.label}, "");
  }
  void equal_units() {
    plot_.at_power_up = true;
    DrawnUnit twin = any_implement();
    const DrawnUnit& first = *machine_.find(twin.label);
    twin.label += " twin";
    twin.address = machine_.on_side("implement").back()->address + 1;
    twin.working_set.clear();
    twin.in_roster = false;
    const std::string label = first.label;
    for (DrawnBranch& branch : machine_.branches) {
      if (branch.name == "hitch") branch.controllers.push_back(twin.label);
    }
    machine_.units.push_back(twin);
    told("network.equal-units", {label, twin.label}, "");
  }
  void software() {
    plot_.at_power_up = true;
    // One of several equal units with another version, or one that is not as the roster wants it.
    std::vector<DrawnUnit*> equal;
    for (DrawnUnit* one : machine_.on_side("implement"))
      for (const DrawnUnit* other : machine_.on_side("implement"))
        if (one != other && one->function == other->function && one->device_class == other->device_class) {
          equal.push_back(one);
          break;
        }
    const bool differs = !equal.empty() && chance(50);
    DrawnUnit& unit = differs ? *equal[random_.below(equal.size())] : any_implement();
    const std::string family = unit.software[0].substr(0, unit.software[0].find(' '));
    if (differs)
      unit.software[0] = fmt::format("{} 9.{}.0", family, random_.between(0, 9));
    else
      unit.software_pattern = fmt::format("{} 9.*", family);
    told("software.mismatch", {unit.label}, unit.label);
  }
  void not_on_bus() {
    plot_.at_power_up = true;
    auto units = machine_.on_side("implement");
    DrawnUnit& unit = *units[1 + random_.below(units.size() - 1)];  // not the master
    unit.keys += "absent = true\n";
    told("controller.not-on-bus", {unit.label}, unit.label);
  }
  void partner(bool terminal) {
    const std::string label = terminal ? "display" : "task controller";
    if (chance(20)) {
      plot_.at_power_up = true;
      machine_.find(label)->keys += "absent = true\n";
      told(terminal ? "partner.terminal" : "partner.task-controller", {label}, label);
      return;
    }
    event(terminal ? "terminal-lost" : "task-controller-lost", moment(0.5), chance(50) ? 0 : seconds(10, 25),
          fmt::format("controller = \"{}\"\n", label));
  }
  void speed() {
    const bool receiver = machine_.find("GNSS receiver") != nullptr && chance(40);
    constexpr const char* kHow[] = {"stops", "frozen", "not-available"};
    event("speed-source-lost", moment(0.6), chance(50) ? 0 : seconds(8, 25),
          fmt::format("controller = \"{}\"\npgn = {}\nhow = \"{}\"\n",
                      receiver ? "GNSS receiver" : "tractor ECU",
                      receiver ? 129025 : (chance(50) ? 0xFE48 : 0xFE49), kHow[random_.below(3)]));
  }
  void power_down() { event("operator-power-down", plot_.duration - 20, 0, ""); }
  void blind() {
    plot_.needs_statistics = true;
    constexpr const char* kWhat[] = {"logger-deaf", "logger-stopped", "link-down", "logger-cut"};
    const auto what = random_.below(4);
    plot_.notes = what == 3;
    event(kWhat[what], moment(0.6), seconds(2, 15), "");
  }
  void unplugged() {
    plot_.needs_statistics = true;
    event("logger-unplugged", moment(0.6), chance(50) ? 0 : seconds(4, 25), "");
  }
  void incomplete() {
    plot_.at_power_up = true;
    std::vector<std::string> nobody;
    if (chance(60)) {
      for (DrawnUnit& unit : machine_.units) unit.keys += "already_running = true\n";
    } else {
      plot_.events +=
          fmt::format("\n[[damage]]\nhow = \"{}\"\nat = {}\nbytes = {}\n", chance(50) ? "zero" : "remove",
                      -random_.between(700, 2500), random_.between(200, 500));
    }
    told("capture.incomplete", nobody, "");
  }

  static const std::map<std::string, std::function<void(Plotter&)>>& table() {
    static const std::map<std::string, std::function<void(Plotter&)>> kTable = {
        {"supply.unit", &Plotter::supply_unit},
        {"supply.shared", &Plotter::supply_shared},
        {"supply.cranking", &Plotter::cranking},
        {"supply.low-voltage", &Plotter::low_voltage},
        {"connector.hitch", &Plotter::connector},
        {"wiring.stub", &Plotter::stub},
        {"wiring.trunk", &Plotter::trunk},
        {"wiring.termination", &Plotter::termination},
        {"unit.restarts", &Plotter::restarts},
        {"unit.floods", &Plotter::floods},
        {"unit.lost", &Plotter::lost},
        {"bus.power-or-trunk", &Plotter::bus_dead},
        {"bus.overload", &Plotter::overload},
        {"bus.bit-rate", &Plotter::bit_rate},
        {"network.address-conflict", &Plotter::address_conflict},
        {"network.equal-units", &Plotter::equal_units},
        {"software.mismatch", &Plotter::software},
        {"controller.not-on-bus", &Plotter::not_on_bus},
        {"partner.task-controller", [](Plotter& plotter) { plotter.partner(false); }},
        {"partner.terminal", [](Plotter& plotter) { plotter.partner(true); }},
        {"source.speed", &Plotter::speed},
        {"operator.power-down", &Plotter::power_down},
        {"recorder.blind", &Plotter::blind},
        {"recorder.connection", &Plotter::unplugged},
        {"capture.incomplete", &Plotter::incomplete},
    };
    return kTable;
  }

 private:
  bool chance(unsigned percent) { return random_.below(100) < percent; }
  /// Between two numbers, in thousandths.
  double seconds(double low, double high) {
    return static_cast<double>(random_.between(static_cast<std::int64_t>(low * 1000),
                                               static_cast<std::int64_t>(high * 1000))) /
           1000;
  }
  /// After the start-up, within the first `share` of what follows.
  double moment(double share) {
    constexpr double kSettled = 15;
    return seconds(kSettled, kSettled + (plot_.duration - kSettled) * share);
  }
  DrawnUnit& any_implement() {
    auto units = machine_.on_side("implement");
    return *units[random_.below(units.size())];
  }
  std::string shared_supply() {
    std::vector<std::string> fit;
    for (const auto& [name, drop] : machine_.supplies) {
      const auto units = machine_.on_supply(name);
      if (name != "cab" && units.size() >= 2) fit.push_back(name);
    }
    if (fit.empty()) {  // then the whole implement hangs on one
      for (DrawnUnit* unit : machine_.on_side("implement")) unit->supply = "frame";
      return "frame";
    }
    return fit[random_.below(fit.size())];
  }
  // A plug with one unit behind it is that unit's own plug.
  std::string any_branch() {
    std::vector<std::string> fit;
    for (const DrawnBranch& branch : machine_.branches)
      if (behind(branch.name) >= 2) fit.push_back(branch.name);
    return fit[random_.below(fit.size())];
  }
  std::size_t behind(const std::string& name) const {
    std::size_t units = 0;
    for (const DrawnBranch& branch : machine_.branches) {
      if (branch.name == name) units += branch.controllers.size();
      if (branch.behind == name) units += behind(branch.name);
    }
    return units;
  }

  void event(const std::string& what, double at, double length, const std::string& keys) {
    plot_.events += fmt::format("\n[[event]]\nat = {:.3f}\nwhat = \"{}\"\n", at, what);
    if (length > 0) plot_.events += fmt::format("for = {:.3f}\n", length);
    plot_.events += keys;
  }
  void told(const std::string& code, const std::vector<std::string>& labels, const std::string& origin) {
    std::string list;
    for (const std::string& label : labels) list += (list.empty() ? "\"" : ", \"") + label + "\"";
    plot_.events +=
        fmt::format("\n[[cause]]\ncode = \"{}\"\ncontrollers = [{}]\norigin = \"{}\"\n", code, list, origin);
  }

  Random& random_;
  DrawnMachine& machine_;
  DrawnPlot& plot_;
};

}  // namespace

const std::vector<std::string>& drawable_causes() {
  static const std::vector<std::string> kCodes = [] {
    std::vector<std::string> codes;
    for (const auto& [code, draw] : Plotter::table()) codes.push_back(code);
    return codes;
  }();
  return kCodes;
}

DrawnNeeds needs_of(const std::string& cause) {
  DrawnNeeds needs;
  needs.tractor_ecu = cause == "source.speed" || cause == "operator.power-down" || cause == "supply.cranking";
  needs.terminal =
      cause == "partner.terminal" || cause == "software.mismatch";  // somebody has to ask for the texts
  needs.task_controller = cause == "partner.task-controller";
  return needs;
}

bool add_cause(const std::string& cause, Random& random, DrawnMachine& machine, DrawnPlot& plot) {
  const auto found = Plotter::table().find(cause);
  if (found == Plotter::table().end()) return false;
  Plotter plotter(random, machine, plot);
  found->second(plotter);
  return true;
}

}  // namespace tramlog::stage
