// The machine of a drawn scenario (inside of draw.cpp).
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "stage/random.hpp"

namespace tramlog::stage {

struct DrawnMessage {
  unsigned pgn = 0;
  double period = 1;  // s
  std::string text;   // the whole [[controller.message]]
};

struct DrawnUnit {
  std::string label;
  unsigned function = 0, function_instance = 0, industry_group = 2, device_class = 0, manufacturer = 0,
           identity = 0;
  bool self_configurable = true;
  unsigned address = 0;
  double boot = 0.4;  // s
  std::vector<std::string> software;
  std::string software_pattern;  // of the first text, for the roster; empty: none
  std::string supply, side;
  std::vector<DrawnMessage> messages;
  std::vector<std::string> working_set;
  std::string tables;  // requests and transfers
  std::string keys;    // more lines of its own
  bool in_roster = true, supply_in_roster = true;

  bool implement() const { return side == "implement"; }
};

struct DrawnBranch {
  std::string name, behind;
  bool power = true;
  std::vector<std::string> controllers;
};

struct DrawnMachine {
  std::string title;
  std::vector<DrawnUnit> units;
  std::vector<std::pair<std::string, double>> supplies;  // name, drop in V
  std::vector<DrawnBranch> branches;

  DrawnUnit* find(const std::string& label);
  std::vector<DrawnUnit*> on_side(const std::string& side);
  std::vector<DrawnUnit*> on_supply(const std::string& supply);
};

/// What a cause needs of the machine.
struct DrawnNeeds {
  bool tractor_ecu = false, terminal = false, task_controller = false;
};

DrawnMachine draw_machine(Random& random, const DrawnNeeds& needs);
std::string machine_text(const DrawnMachine& machine);
std::string roster_text(const DrawnMachine& machine);
/// One [[controller.message]] with 8 bytes; `keys` are more lines.
DrawnMessage drawn_message(unsigned pgn, double period, unsigned priority, const std::string& keys);

}  // namespace tramlog::stage
