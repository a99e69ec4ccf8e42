#include "stage/draw_machine.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog::stage {
namespace {

constexpr unsigned kTractorMaker = 1901, kReceiverMaker = 1902;
constexpr unsigned kFirstImplementAddress = 0x80;
constexpr std::size_t kFewest = 5, kMost = 16;

bool chance(Random& random, unsigned percent) {
  return random.below(100) < percent;
}

double seconds(Random& random, std::int64_t low_ms, std::int64_t high_ms) {
  return static_cast<double>(random.between(low_ms, high_ms)) / 1000;
}

std::string counted(unsigned pgn) {
  return fmt::format(
      "  payload = \"00 {:02X} D0 07 00 FF FF FF\"\n"
      "  vary = [ {{ byte = 1, how = \"counter\" }}, {{ byte = 3, width = 2, how = \"walk\", low = 1900, "
      "high = 2100, "
      "step = 8 }} ]\n",
      pgn & 0xFF);
}

void give_software(Random& random, DrawnUnit& unit, const std::string& family, bool pattern) {
  const auto major = random.between(1, 8), minor = random.between(0, 9);
  unit.software = {fmt::format("{} {}.{}.{}", family, major, minor, random.between(0, 9))};
  if (chance(random, 40)) unit.software.push_back(fmt::format("BOOT {}", random.between(1, 4)));
  if (pattern) unit.software_pattern = fmt::format("{} {}.*", family, major);
}

class Builder {
 public:
  Builder(Random& random, const DrawnNeeds& needs) : random_(random), needs_(needs) {}

  DrawnMachine build() {
    identity_ = static_cast<unsigned>(random_.between(0x1000, 0xF000));
    maker_ = static_cast<unsigned>(random_.between(1950, 1999));
    tractor();
    const auto kind = random_.below(4);
    if (kind < 2) {
      drill();
    } else {
      sprayer();
    }
    const bool cart = kind % 2 == 1;
    if (cart) towed_cart();
    for (unsigned more = 1; machine_.units.size() < kFewest; ++more)
      member(more == 1 ? std::string("sensor box") : fmt::format("sensor box {}", more), 135, "frame",
             0xFF58 + more - 1);
    while (machine_.units.size() > kMost) drop_last_member();
    machine_.title = std::string(kind < 2 ? "seed drill" : "sprayer") + (cart ? " with a towed cart" : "");
    define_sets();
    branches(cart);
    for (const std::string& supply : supplies_)
      machine_.supplies.emplace_back(supply, static_cast<double>(random_.between(0, 4)) / 10);
    return std::move(machine_);
  }

 private:
  DrawnUnit& add(std::string label, unsigned function, std::string supply, std::string side) {
    DrawnUnit unit;
    unit.label = std::move(label);
    unit.function = function;
    unit.identity = ++identity_;
    unit.supply = std::move(supply);
    unit.side = std::move(side);
    unit.boot = seconds(random_, 250, 900);
    if (std::find(supplies_.begin(), supplies_.end(), unit.supply) == supplies_.end())
      supplies_.push_back(unit.supply);
    machine_.units.push_back(std::move(unit));
    return machine_.units.back();
  }

  void tractor() {
    if (needs_.tractor_ecu || chance(random_, 85)) {
      DrawnUnit& ecu = add("tractor ECU", 134, "cab", "tractor");
      ecu.manufacturer = kTractorMaker;
      ecu.self_configurable = false;
      ecu.address = 0xF0;
      ecu.boot = 0.05;
      ecu.keys = "brown_out = 5.5\n";
      give_software(random_, ecu, "TECU", true);
      ecu.messages = {
          drawn_message(0xFE48, 0.1, 3, "  builder = \"wheel-speed\"\n"),
          drawn_message(0xFE49, 0.1, 3,
                        "  payload = \"28 0A 00 00 00 00 FF FD\"\n  vary = [ { byte = 1, width = 2, how = "
                        "\"walk\", low = 2000, high = 3200, step = 20 } ]\n"),
          drawn_message(0xFE45, 0.1, 3, "  payload = \"7D FF FF FF FF FF FF FF\"\n")};
      if (chance(random_, 70))
        ecu.messages.push_back(drawn_message(0xFEF7, 1.0, 6, "  builder = \"battery-voltage\"\n"));
      if (chance(random_, 60))
        ecu.messages.push_back(drawn_message(0xF004, 0.05, 3, "  builder = \"engine-speed\"\n"));
    }
    if (needs_.terminal || chance(random_, 80)) {
      DrawnUnit& display = add("display", 29, "cab", "tractor");
      display.industry_group = 0;
      display.manufacturer = kTractorMaker;
      display.address = 0x26;
      display.boot = seconds(random_, 1500, 3500);
      display.keys = "brown_out = 5.8\n";
      give_software(random_, display, "TERM", chance(random_, 60));
      display.messages = {drawn_message(0xE600, 1.0, 7, "  payload = \"FE 80 E8 03 E9 03 00 00\"\n")};
      display.tables =
          "  [[controller.request]]\n  pgn = 0xFEDA\n  to = \"each\"\n  after = 2.5\n  spacing = 0.35\n"
          "  new_claims = true\n";
    }
    if (needs_.task_controller || chance(random_, 70)) {
      DrawnUnit& tc = add("task controller", 130, "cab", "tractor");
      tc.manufacturer = kTractorMaker;
      tc.address = 0xF7;
      tc.boot = seconds(random_, 1500, 3000);
      tc.keys = "brown_out = 5.8\n";
      give_software(random_, tc, "TASK", false);
      tc.messages = {drawn_message(0xCB00, 2.0, 3, "  payload = \"FE FF FF FF 01 00 00 FF\"\n")};
    }
    if (chance(random_, 60)) {
      DrawnUnit& receiver = add("GNSS receiver", 23, "cab", "tractor");
      receiver.industry_group = 0;
      receiver.manufacturer = kReceiverMaker;
      receiver.address = 0x1C;
      receiver.keys = "brown_out = 6\n";
      give_software(random_, receiver, "NAV", true);
      receiver.messages = {
          drawn_message(
              129025, 0.1, 2,
              "  payload = \"00 5C 2A 1F 00 CE 9A 05\"\n  vary = [ { byte = 1, width = 4, how = \"counter\", "
              "low = 523000000, high = 524000000, step = 2 } ]\n"),
          drawn_message(129026, 0.25, 2,
                        "  payload = \"00 FC 10 27 04 01 FF FF\"\n  vary = [ { byte = 3, width = 2, how = "
                        "\"walk\", low "
                        "= 100, high = 600, step = 5 } ]\n")};
    }
  }

  DrawnUnit& on_implement(const std::string& label, unsigned function, const std::string& supply) {
    DrawnUnit& unit = add(label, function, supply, "implement");
    unit.manufacturer = maker_;
    unit.device_class = class_;
    unit.address = kFirstImplementAddress + next_address_++;
    unit.function_instance = 0;
    for (const DrawnUnit& other : machine_.units) {
      if (&other != &unit && other.function == function && other.device_class == class_ && other.implement())
        ++unit.function_instance;
    }
    unit.keys = fmt::format("brown_out = {:.1f}\n", static_cast<double>(random_.between(65, 90)) / 10);
    if (chance(random_, 30)) unit.keys += "reports_low_voltage = true\n";
    return unit;
  }

  void member(const std::string& label, unsigned function, const std::string& supply, unsigned pgn) {
    DrawnUnit& unit = on_implement(label, function, supply);
    give_software(random_, unit, "SW", chance(random_, 70));
    // A maker ships equal units with equal software.
    for (const DrawnUnit& other : machine_.units)
      if (&other != &unit && other.implement() && other.function == function &&
          other.device_class == class_) {
        unit.software = other.software;
        unit.software_pattern = other.software_pattern;
        break;
      }
    constexpr double kPeriods[] = {0.1, 0.1, 0.2, 0.25, 0.5};
    unit.messages = {drawn_message(pgn, kPeriods[random_.below(5)], 6, counted(pgn))};
    if (chance(random_, 50)) unit.messages.push_back(drawn_message(pgn + 0x80, 1.0, 6, counted(pgn + 1)));
    sets_.back().push_back(label);
  }

  void master(const std::string& label, const std::string& supply, double wait) {
    DrawnUnit& unit = on_implement(label, 128, supply);
    give_software(random_, unit, "MAIN", true);
    unit.messages = {drawn_message(0xFF10, 0.2, 6, counted(0xFF10))};
    if (chance(random_, 70)) unit.keys += "complains = true\n";
    if (machine_.find("display") != nullptr)
      unit.messages.push_back(drawn_message(
          0xE700, 1.0, 7,
          fmt::format("  to = \"display\"\n  from = {:.1f}\n  builder = \"ws-maintenance\"\n", wait)));
    if (machine_.find("task controller") != nullptr) {
      unit.messages.push_back(drawn_message(
          0xCB00, 2.0, 3,
          fmt::format(
              "  to = \"task controller\"\n  from = {:.1f}\n  payload = \"FF FF FF FF 01 00 00 00\"\n",
              wait + 5)));
      unit.messages.push_back(drawn_message(
          0xCB00, 0.5, 3,
          fmt::format("  to = \"task controller\"\n  from = {:.1f}\n  payload = \"13 00 07 00 E0 2E 00 "
                      "00\"\n  vary = [ {{ "
                      "byte = 5, width = 2, how = \"walk\", low = 11700, high = 12300, step = 60 }} ]\n",
                      wait + 6)));
    }
    masters_.push_back(label);
    sets_.emplace_back();
  }

  void drill() {
    class_ = 4;
    master("drill master", "frame", 4.0);
    const auto meters = random_.between(1, 4);
    const std::string supply = chance(random_, 60) ? "metering" : "frame";
    for (std::int64_t i = 1; i <= meters; ++i) member(fmt::format("metering {}", i), 133, supply, 0xFF20);
    if (chance(random_, 70)) member("section control", 129, "frame", 0xFF30);
    if (chance(random_, 70)) member("blower", 132, supply, 0xFF38);
    if (chance(random_, 50)) member("work state box", 135, "frame", 0xFF40);
  }

  void sprayer() {
    class_ = 6;
    master("spray master", "frame", 4.0);
    const std::string supply = chance(random_, 60) ? "boom" : "frame";
    member("nozzles left", 133, supply, 0xFF20);
    member("nozzles right", 133, supply, 0xFF20);
    if (chance(random_, 70)) member("pump", 132, "frame", 0xFF38);
    if (chance(random_, 70)) member("boom height", 129, supply, 0xFF30);
    if (chance(random_, 50)) member("tank level", 135, "frame", 0xFF40);
  }

  void towed_cart() {
    class_ = 9;
    master("cart master", "cart", 4.6);
    member("cart scale", 135, "cart", 0xFF48);
    if (chance(random_, 60)) member("cart fan", 132, "cart", 0xFF50);
    if (chance(random_, 50)) member("cart metering", 133, "cart", 0xFF28);
  }

  void drop_last_member() {
    const std::string label = machine_.units.back().label;
    machine_.units.pop_back();
    for (auto& set : sets_) std::erase(set, label);
  }

  void define_sets() {
    for (std::size_t i = 0; i < masters_.size(); ++i) {
      if (DrawnUnit* unit = machine_.find(masters_[i])) unit->working_set = sets_[i];
    }
  }

  void branches(bool cart) {
    DrawnBranch hitch{"hitch", "", chance(random_, 70), {}};
    DrawnBranch tail{"cart plug", "hitch", hitch.power, {}};
    DrawnBranch wing{"left wing", "hitch", hitch.power, {}};
    const bool with_wing = chance(random_, 50);
    for (const DrawnUnit& unit : machine_.units) {
      if (!unit.implement()) continue;
      if (unit.supply == "cart") {
        tail.controllers.push_back(unit.label);
      } else if (with_wing && (unit.label == "metering 1" || unit.label == "section control" ||
                               unit.label == "nozzles left" || unit.label == "boom height")) {
        wing.controllers.push_back(unit.label);
      } else {
        hitch.controllers.push_back(unit.label);
      }
    }
    machine_.branches.push_back(hitch);
    if (cart && !tail.controllers.empty()) machine_.branches.push_back(tail);
    if (!wing.controllers.empty()) machine_.branches.push_back(wing);
  }

  Random& random_;
  DrawnNeeds needs_;
  DrawnMachine machine_;
  std::vector<std::string> supplies_, masters_;
  std::vector<std::vector<std::string>> sets_;
  unsigned identity_ = 0, maker_ = 0, class_ = 0, next_address_ = 0;
};

std::string quoted_list(const std::vector<std::string>& texts) {
  std::string list;
  for (const std::string& text : texts) list += (list.empty() ? "\"" : ", \"") + text + "\"";
  return "[" + list + "]";
}

}  // namespace

DrawnUnit* DrawnMachine::find(const std::string& label) {
  for (DrawnUnit& unit : units) {
    if (unit.label == label) return &unit;
  }
  return nullptr;
}

std::vector<DrawnUnit*> DrawnMachine::on_side(const std::string& side) {
  std::vector<DrawnUnit*> found;
  for (DrawnUnit& unit : units) {
    if (unit.side == side) found.push_back(&unit);
  }
  return found;
}

std::vector<DrawnUnit*> DrawnMachine::on_supply(const std::string& supply) {
  std::vector<DrawnUnit*> found;
  for (DrawnUnit& unit : units) {
    if (unit.supply == supply) found.push_back(&unit);
  }
  return found;
}

DrawnMessage drawn_message(unsigned pgn, double period, unsigned priority, const std::string& keys) {
  return {pgn, period,
          fmt::format(
              "  [[controller.message]]\n  pgn = 0x{:X}\n  priority = {}\n  period = {}\n  jitter = {}\n{}",
              pgn, priority, period, period / 50, keys)};
}

DrawnMachine draw_machine(Random& random, const DrawnNeeds& needs) {
  return Builder(random, needs).build();
}

std::string machine_text(const DrawnMachine& machine) {
  std::string text;
  for (const DrawnUnit& unit : machine.units) {
    text += fmt::format(
        "\n[[controller]]\nlabel = \"{}\"\nname = {{ function = {}, function_instance = {}, industry_group = "
        "{}, "
        "device_class = {}, manufacturer = {}, identity = {}, self_configurable = {} }}\naddress = "
        "{}\npower_on = "
        "0.05\nboot = {:.3f}\nsupply = \"{}\"\nside = \"{}\"\n{}",
        unit.label, unit.function, unit.function_instance, unit.industry_group, unit.device_class,
        unit.manufacturer, unit.identity, unit.self_configurable, unit.address, unit.boot, unit.supply,
        unit.side, unit.keys);
    if (!unit.software.empty()) text += "software = " + quoted_list(unit.software) + "\n";
    if (!unit.working_set.empty()) text += "working_set = " + quoted_list(unit.working_set) + "\n";
    for (const DrawnMessage& message : unit.messages) text += message.text;
    text += unit.tables;
  }
  for (const auto& [name, drop] : machine.supplies)
    text += fmt::format("\n[[supply]]\nname = \"{}\"\ndrop = {:.1f}\n", name, drop);
  for (const DrawnBranch& branch : machine.branches) {
    text += fmt::format("\n[[branch]]\nname = \"{}\"\nbehind = \"{}\"\npower = {}\ncontrollers = {}\n",
                        branch.name, branch.behind, branch.power, quoted_list(branch.controllers));
  }
  return text;
}

std::string roster_text(const DrawnMachine& machine) {
  std::string text = fmt::format("machine = \"{}\"\n", machine.title);
  for (const DrawnUnit& unit : machine.units) {
    if (!unit.in_roster) continue;
    text += fmt::format(
        "\n[[controller]]\nlabel = \"{}\"\nname = {{ function = {}, function_instance = {}, device_class = "
        "{} }}\n",
        unit.label, unit.function, unit.function_instance, unit.device_class);
    if (!unit.software_pattern.empty()) text += fmt::format("software = [\"{}\"]\n", unit.software_pattern);
    if (unit.supply_in_roster)
      text += fmt::format("supply = \"{}\"\nside = \"{}\"\n", unit.supply, unit.side);
  }
  return text;
}

}  // namespace tramlog::stage
