#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check version_mismatch;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const VersionRecord& versions : seen.versions) {
    Fault fault;
    fault.code = version_mismatch.code;
    // Most clients load a pool for the lower version then.
    fault.severity = Severity::note;
    fault.start = fault.end.emplace(versions.at.time);
    add_once(fault.controllers, versions.client);
    add_once(fault.controllers, versions.server);
    fault.bus = versions.bus;
    fault.text = fmt::format(
        "{} is built for version {} of the virtual terminal, but {} has version {}: it must do with less, or "
        "does not show at all.",
        voice_words(all, versions.client, versions.client_address), versions.client_version,
        voice_words(all, versions.server, versions.server_address), versions.server_version);
    fault.evidence.push_back({versions.at, "both versions known"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check version_mismatch{"device.version-mismatch",
                             "A client of a virtual terminal is built for a higher version than the "
                             "terminal's (ISO 11783-6; fact sheet 6.4). "
                             "Task controllers: device.version in the check-list.",
                             judge};

}  // namespace tramlog::checks
