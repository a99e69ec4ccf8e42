// tramlog rollcall --live --ask: the roll is called by asking everybody on the bus.
#pragma once

#include "tool/live_option.hpp"

namespace tramlog {

struct AskChoice {
  bool ask = false;
  std::string bus;
  unsigned manufacturer_code = 0;
  unsigned identity_number = 0;  // 0: derived from this machine
};

void add_ask(CLI::App& command, AskChoice& choice);
/// Asks, gives the address back, then shows the roll call (or, without any roster, what everybody answered).
int ask_and_call(const AskChoice& choice, const LiveOptions& live, const CommonOptions& options);

}  // namespace tramlog
