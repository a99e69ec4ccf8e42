#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check software_changed;

namespace {

std::string joined(const std::vector<std::string>& texts) {
  std::string all;
  for (const std::string& text : texts) all += (all.empty() ? "" : ", ") + text;
  return all;
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const SoftwareChange& change : seen.software_changes) {
    Fault fault;
    fault.code = software_changed.code;
    fault.severity = Severity::note;
    fault.start = fault.end.emplace(change.at.time);
    fault.controllers = {change.controller};
    fault.bus = all.controllers[change.controller].bus;
    fault.text = fmt::format("The software of {} changed from \"{}\" to \"{}\".",
                             controller_words(all, change.controller), joined(change.before),
                             joined(all.controllers[change.controller].software));
    fault.evidence.push_back({change.before_at, "software before"});
    fault.evidence.push_back({change.at, "software after"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check software_changed{
    "controller.software-changed",
    "The reported software texts of a controller changed within the capture (ISO 11783-12).", judge};

}  // namespace tramlog::checks
