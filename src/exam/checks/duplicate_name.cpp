#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check duplicate_name;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const auto& [duplicate, controller] : seen.duplicates) {
    Fault fault;
    fault.code = duplicate_name.code;
    fault.severity = Severity::fault;
    fault.start = duplicate.start;
    fault.end = duplicate.last;
    fault.controllers = {controller};
    fault.bus = duplicate.bus;
    fault.text =
        fmt::format("The NAME {} is in use twice: address {} goes on talking although it claimed address {}.",
                    all.controllers[controller].name.hex(), address_words(duplicate.first_address),
                    address_words(duplicate.second_address));
    fault.evidence.push_back({{duplicate.start, duplicate.first_frame},
                              fmt::format("first of {} from the address it had left",
                                          counted(duplicate.frames, "frame", "frames"))});
    faults.push_back(std::move(fault));
  }
  for (const std::size_t controller : seen.double_claims) {
    bool told = false;
    for (const auto& [duplicate, same] : seen.duplicates) told = told || same == controller;
    if (told) continue;
    const ControllerRecord& record = all.controllers[controller];
    Fault fault;
    fault.code = duplicate_name.code;
    fault.severity = Severity::warning;
    fault.start = record.first_seen.time;
    fault.controllers = {controller};
    fault.bus = record.bus;
    fault.text = fmt::format(
        "{} claimed its address twice within 250 ms although nobody asked: perhaps two boxes "
        "have the same NAME {}.",
        controller_words(all, controller), record.name.hex());
    fault.evidence.push_back({record.first_seen, "first heard"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check duplicate_name{"network.duplicate-name",
                           "One NAME speaks from two addresses, or claims twice within 250 ms unasked: two "
                           "boxes with equal settings (ISO 11783-5).",
                           judge};

}  // namespace tramlog::checks
