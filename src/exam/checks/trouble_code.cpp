#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check trouble_code;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (const DtcRecord& dtc : all.dtcs) {
    const auto& text = dtc.spn_text;
    const std::string spn = fmt::format("{}SPN {}{}", is_proprietary_spn(dtc.dtc.spn) ? "proprietary " : "",
                                        dtc.dtc.spn, text ? " (" + *text + ")" : "");
    Fault fault;
    fault.code = trouble_code.code;
    fault.dtc = static_cast<std::size_t>(&dtc - all.dtcs.data());
    fault.severity = dtc.previously_active_only ? Severity::note : Severity::warning;
    fault.start = dtc.first_active.time;
    if (dtc.cleared) fault.end = dtc.cleared->time;
    if (dtc.controller) fault.controllers = {*dtc.controller};
    fault.bus = dtc.bus;
    std::string when;
    if (dtc.previously_active_only)
      when = "was active before the capture";
    else if (dtc.cleared)
      when = "was active and cleared";
    else
      when = "is active";
    fault.text = fmt::format(
        "{}: {}, FMI {} ({}) {}{}{}{}.", voice_words(all, dtc.controller, dtc.address), spn, dtc.dtc.fmi,
        dtc.fmi_text, when, dtc.activations > 1 ? fmt::format(", {} times", dtc.activations) : "",
        dtc.clear_requested_by
            ? fmt::format("; address {} had asked to clear it", address_words(*dtc.clear_requested_by))
            : "",
        dtc.dtc.old_conversion ? "; the SPN may be encoded in an older way" : "");
    fault.evidence.push_back({dtc.first_active, dtc.previously_active_only ? "reported as previously active"
                                                                           : "first reported active"});
    if (dtc.cleared && !dtc.previously_active_only)
      fault.evidence.push_back({*dtc.cleared, "first report without it"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check trouble_code{"diagnostics.trouble-code",
                         "A controller reported a trouble code in DM1 or DM2 (ISO 11783-12).", judge};

}  // namespace tramlog::checks
