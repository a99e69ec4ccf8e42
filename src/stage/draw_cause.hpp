// The main cause of a drawn scenario, as events and as what is wrong with the machine (inside of draw.cpp).
#pragma once

#include <string>

#include "stage/draw_machine.hpp"

namespace tramlog::stage {

struct DrawnPlot {
  double duration = 120;  // s
  std::string events;     // [[event]], [[cause]], [[damage]]
  bool statistics = true;
  bool needs_statistics = false;  // without them nothing shows that the recorder was running
  bool notes = false;             // the recorder writes its own notes
  bool at_power_up = false;       // what happens begins with the recording: nobody may be late
};

DrawnNeeds needs_of(const std::string& cause);
/// Changes the machine where the cause lies in it, and adds the events. False for an unknown code.
bool add_cause(const std::string& cause, Random& random, DrawnMachine& machine, DrawnPlot& plot);

}  // namespace tramlog::stage
