#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check address_commanded;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const CommandedAddress& command : seen.commands) {
    Fault fault;
    fault.code = address_commanded.code;
    fault.severity = command.obeyed ? Severity::note : Severity::warning;
    fault.start = fault.end.emplace(command.time);
    for (std::size_t i = 0; i < all.controllers.size(); ++i)
      if (all.controllers[i].name == command.target && all.controllers[i].bus == command.bus)
        fault.controllers = {i};
    fault.bus = command.bus;
    fault.text = fmt::format("Address {} commanded NAME {} to address {}; {}.", address_words(command.by),
                             command.target.hex(), address_words(command.address),
                             command.obeyed ? "it moved there" : "it did not claim it within 5 s");
    fault.evidence.push_back({{command.time, command.frame}, "command"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check address_commanded{
    "network.address-commanded",
    "A controller was commanded to another address (ISO 11783-5, commanded address).", judge};

}  // namespace tramlog::checks
