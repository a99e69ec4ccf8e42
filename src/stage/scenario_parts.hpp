// The parts of a scenario, each read by a function of its own (inside of scenario_reader.cpp).
#pragma once

#include "stage/scenario.hpp"
#include "stage/table_reader.hpp"

namespace tramlog::stage {

inline constexpr SpanNs kLongestScenario = 30 * 24 * kHour;

ControllerSpec read_controller(const Node& node, const Scenario& scenario, Problems& problems);
HappeningSpec read_happening(const Node& node, const Scenario& scenario, Problems& problems);
/// Keys of the physical events.
void read_physics(TableReader& in, HappeningSpec& event, const Scenario& scenario);
/// [power], [[supply]], [[branch]], [[cause]], [recorder]; after the controllers.
void read_machine(TableReader& in, Scenario& scenario, Problems& problems);
ImplementSpec read_implement(const Node& node, const Scenario& scenario, Problems& problems);
/// `base` must be 1 to `most` bytes.
PayloadSpec read_payload(TableReader& in, std::size_t most);
/// Index of the bus named by key `bus`; the first bus if there is no such key.
std::size_t read_bus(TableReader& in, const Scenario& scenario);
std::uint64_t read_name(TableReader& in);

}  // namespace tramlog::stage
