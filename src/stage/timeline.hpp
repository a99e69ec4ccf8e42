// What happens to the machine, the bus and the logger while the scenario plays.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "stage/scenario.hpp"
#include "stage/truth.hpp"

namespace tramlog::stage {

class World;
class Controller;

class Timeline {
 public:
  explicit Timeline(World& world) : world_(world) {}
  /// Puts everything on the agenda.
  void schedule();

 private:
  void happen(const HappeningSpec& event, unsigned group);
  void happen_to_logger(const HappeningSpec& event);
  void happen_to_one(const HappeningSpec& event, unsigned group);
  std::vector<Controller*> supplied(const HappeningSpec& event);
  std::vector<std::size_t> buses(const HappeningSpec& event);
  void switch_off(Controller& controller, const std::string& cause, unsigned group, Silence kind);
  void kill_bus(const HappeningSpec& event, unsigned group);
  void revive_bus(const HappeningSpec& event);
  void key_off(const HappeningSpec& event, unsigned group);
  void key_on();
  void error_frames(const HappeningSpec& event);
  void stop_broadcast(const HappeningSpec& event, Controller& from);
  void heartbeat_stop(const HappeningSpec& event, Controller& controller);
  void commanded_address(const HappeningSpec& event, Controller& target);

  World& world_;
  std::vector<Controller*> switched_by_key_;
};

}  // namespace tramlog::stage
