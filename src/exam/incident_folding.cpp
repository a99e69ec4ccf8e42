#include "exam/incident_folding.hpp"

#include <algorithm>
#include <string_view>

#include "exam/check_tools.hpp"

namespace tramlog {
namespace {

// A task controller's client gives up after 6 s and a working set after 3 s (fact sheet 6.2, 6.3); the rest
// of the 10 s is for telling it, on either side of the return.
constexpr SpanNs kAfter = 10 * kSecond;
constexpr SpanNs kBefore = kSecond;
constexpr SpanNs kBeforeLoad = 3 * kSecond;  // last heard, up to a slow period before the first full second
// Trouble codes may take half a minute to mature.
constexpr SpanNs kComplaintAfter = 30 * kSecond;

bool begins_with(std::string_view text, std::string_view start) {
  return text.substr(0, start.size()) == start;
}

bool within(const Incident& incident, TimeNs time, SpanNs after, SpanNs before = kBefore) {
  return std::any_of(incident.times.begin(), incident.times.end(), [&](const IncidentTime& t) {
    return time >= t.start.time - before && time <= t.until + after;
  });
}

bool shares_controller(const Incident& incident, const Fault& fault) {
  return std::any_of(fault.controllers.begin(), fault.controllers.end(), [&](std::size_t c) {
    return std::find(incident.controllers.begin(), incident.controllers.end(), c) !=
           incident.controllers.end();
  });
}

bool is_address_of(const Conclusions& all, const Incident& incident, BusIndex bus, Address address) {
  return std::any_of(incident.dropouts.begin(), incident.dropouts.end(), [&](std::size_t d) {
    return all.dropouts[d].bus == bus && all.dropouts[d].address == address;
  });
}

const DtcRecord* dtc_of(const Conclusions& all, const Fault& fault) {
  return fault.dtc ? &all.dtcs[*fault.dtc] : nullptr;
}

// "2000 + address" with FMI 9, 19 or 2: somebody misses the controller there; 639: the network as such.
bool complains(const Conclusions& all, const Incident& incident, const DtcRecord& dtc) {
  if (dtc.dtc.fmi != 9 && dtc.dtc.fmi != 19 && dtc.dtc.fmi != 2) return false;
  if (dtc.dtc.spn == 639) return true;
  return dtc.dtc.spn >= 2000 && dtc.dtc.spn <= 2253 &&
         is_address_of(all, incident, dtc.bus, static_cast<Address>(dtc.dtc.spn - 2000));
}

bool transfer_with(const Conclusions& all, const Incident& incident, const Fault& fault) {
  return std::any_of(all.transfers.failed.begin(), all.transfers.failed.end(), [&](const TransferEnd& t) {
    return t.start == fault.start && fault.bus == t.bus &&
           (is_address_of(all, incident, t.bus, t.source) ||
            is_address_of(all, incident, t.bus, t.destination));
  });
}

// Faults of others by which one notices that a partner went.
bool of_partners(std::string_view code) {
  for (const char* one : {"client.timed-out", "task-controller.lost", "terminal.lost", "file-server.lost",
                          "request.unanswered", "speed.source-lost", "speed.source", "speed.frozen",
                          "position.frozen", "position.lost", "controller.message-stopped"})
    if (code == one) return true;
  return false;
}

// It was told up to two minutes before the first controller could not bear it any more.
bool tells_of_sinking(const Conclusions& all, const Incident& incident, const Fault& fault) {
  if (!incident.voltage_told || incident.times.empty()) return false;
  const DtcRecord* dtc = fault.code == "diagnostics.trouble-code" ? dtc_of(all, fault) : nullptr;
  if (!(dtc != nullptr && tells_low_voltage(*dtc)) && fault.code != "supply.voltage-low" &&
      fault.code != "diagnostics.many-at-once" && fault.code != "supply.voltage-sags-at-cranking")
    return false;
  return fault.start <= incident.times.back().until &&
         fault.end.value_or(fault.start) >= incident.times.front().start.time - kVoltageSinks;
}

bool follows_silence(const Conclusions& all, const Incident& incident, const Fault& fault) {
  if (tells_of_sinking(all, incident, fault)) return true;
  // Who starts with another address each time: the starts are the trouble.
  if (fault.code == "network.address-wandering") return shares_controller(incident, fault);
  const bool whole_bus = incident.kind == IncidentKind::bus_silence;
  if (whole_bus && fault.bus && incident.bus != fault.bus) return false;
  if (fault.code == "diagnostics.trouble-code" || begins_with(fault.code, "diagnostics.")) {
    if (!within(incident, fault.start, kComplaintAfter)) return false;
    const DtcRecord* dtc = dtc_of(all, fault);
    if (dtc == nullptr) return fault.code != "diagnostics.trouble-code" && shares_controller(incident, fault);
    if (complains(all, incident, *dtc)) return true;
    // Their own, and those of the supply, come with it.
    return within(incident, fault.start, kAfter) &&
           (shares_controller(incident, fault) || tells_low_voltage(*dtc));
  }
  if (!within(incident, fault.start, kAfter)) return false;
  if (fault.code == "transfer.failed" || fault.code == "transfer.series")
    return whole_bus || shares_controller(incident, fault) || transfer_with(all, incident, fault);
  if (begins_with(fault.code, "bus.") || begins_with(fault.code, "supply."))
    return incident.bus == fault.bus || !fault.bus;
  if (of_partners(fault.code))
    return whole_bus || shares_controller(incident, fault) || fault.controllers.empty() ||
           fault.code == "client.timed-out";
  if (begins_with(fault.code, "controller.") || begins_with(fault.code, "message."))
    return whole_bus || shares_controller(incident, fault);
  return false;
}

bool follows(const Conclusions& all, const Incident& incident, const Fault& fault) {
  switch (incident.kind) {
    case IncidentKind::silence:
    case IncidentKind::restarts:
    case IncidentKind::bus_silence: {
      if (begins_with(fault.code, "bus.")) {
        // A burst belongs to the moment itself; what lies further off is another matter.
        return incident.bus == fault.bus &&
               std::any_of(incident.times.begin(), incident.times.end(),
                           [&](const IncidentTime& t) {
                             return fault.start <= t.until + kErrorsAtOnce &&
                                    fault.end.value_or(fault.start) >= t.start.time - kErrorsAtOnce;
                           }) &&
               (fault.end.value_or(fault.start) - fault.start) <= kComplaintAfter;
      }
      return follows_silence(all, incident, fault);
    }
    case IncidentKind::recorder:
    case IncidentKind::capture:
      // The interface tells of its own trouble in error frames, too.
      return (begins_with(fault.code, "bus.") && !begins_with(fault.code, "bus.load") &&
              within(incident, fault.start, kErrorsAtOnce)) ||
             begins_with(fault.code, "recorder.");
    case IncidentKind::load:
      return (fault.code == "transfer.failed" || fault.code == "transfer.series" ||
              fault.code == "message.jitter-grown" || fault.code == "message.pace" ||
              of_partners(fault.code)) &&
             (!fault.bus || incident.bus == fault.bus) && within(incident, fault.start, kAfter, kBeforeLoad);
    case IncidentKind::errors:
      return (begins_with(fault.code, "transfer.") || fault.code == "controller.message-stopped" ||
              fault.code == "message.jitter-grown") &&
             incident.bus == fault.bus && within(incident, fault.start, kAfter);
    case IncidentKind::partner:
      // Of several lost partners the one that it waited for.
      return fault.code == "client.timed-out" && within(incident, fault.start, kAfter) &&
             (incident.controllers.empty() || shares_controller(incident, fault));
    case IncidentKind::source:
      return (begins_with(fault.code, "speed.") || begins_with(fault.code, "position.") ||
              fault.code == "controller.message-stopped") &&
             within(incident, fault.start, kAfter);
    default:
      return false;
  }
}

}  // namespace

bool at_its_moments(const Incident& incident, const ErrorBurst& burst) {
  return std::any_of(incident.times.begin(), incident.times.end(), [&](const IncidentTime& t) {
    return burst.first.time <= t.until + kErrorsAtOnce && burst.last.time >= t.start.time - kErrorsAtOnce;
  });
}

void fold_consequences(const Conclusions& all, std::vector<Incident>& incidents, std::vector<bool>& taken) {
  for (std::size_t f = 0; f < all.faults.size(); ++f) {
    if (taken[f] || all.faults[f].severity == Severity::note) continue;
    for (Incident& incident : incidents)
      if (follows(all, incident, all.faults[f])) {
        incident.consequences.push_back(f);
        taken[f] = true;
        break;
      }
  }
  for (Incident& incident : incidents) {
    incident.complaints.clear();
    for (std::size_t d = 0; d < all.dtcs.size(); ++d)
      if (complains(all, incident, all.dtcs[d]) && all.dtcs[d].dtc.spn != 639 &&
          within(incident, all.dtcs[d].first_active.time, kComplaintAfter))
        incident.complaints.push_back(d);
  }
}

}  // namespace tramlog
