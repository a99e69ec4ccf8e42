#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check software_unknown;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  if (!all.rollcall) return;
  Fault fault;
  std::string reasons;
  // By reason, in the order of the standard's answers.
  for (unsigned reason = 0; reason <= static_cast<unsigned>(SoftwareSilence::reported_nothing); ++reason) {
    std::vector<std::size_t> those;
    for (const RollcallEntry& entry : all.rollcall->entries)
      if (entry.state == EntryState::software_unknown && entry.controller &&
          all.controllers[*entry.controller].software_silence == static_cast<SoftwareSilence>(reason))
        those.push_back(*entry.controller);
    if (those.empty()) continue;
    reasons += fmt::format("{}{}: {}", reasons.empty() ? "" : "; ", controllers_words(all, those),
                           silence_text(static_cast<SoftwareSilence>(reason)));
    for (const std::size_t one : those) add_once(fault.controllers, one);
  }
  if (reasons.empty()) return;
  fault.code = software_unknown.code;
  fault.severity = Severity::note;
  fault.start = all.start;
  fault.end = all.end;
  fault.text = fmt::format("The roster expects a software, but none was heard: {}.", reasons);
  faults.push_back(std::move(fault));
}

}  // namespace

const Check software_unknown{"controller.software-unknown",
                             "The roster expects a software of a controller that is here, and nothing tells "
                             "which one it has; a request for "
                             "software identification (PGN 65242) would.",
                             judge};

}  // namespace tramlog::checks
