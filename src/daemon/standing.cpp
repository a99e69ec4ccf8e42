#include "daemon/standing.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "exam/recorder_words.hpp"
#include "exam/words.hpp"
#include "report/report.hpp"

namespace tramlog {
namespace {

using Json = nlohmann::json;

std::string bus_name(const Conclusions& all, BusIndex bus) {
  return bus < all.buses.size() ? printable_utf8(all.buses[bus].name) : std::string();
}

std::string software_words(const ControllerRecord& controller) {
  std::string words;
  for (const std::string& text : controller.software) words += (words.empty() ? ", software " : "; ") + text;
  return words;
}

void add_controllers(const Conclusions& all, std::vector<Standing>& things) {
  for (std::size_t i = 0; i < all.controllers.size(); ++i) {
    const ControllerRecord& c = all.controllers[i];
    Standing thing;
    thing.bus = bus_name(all, c.bus);
    thing.key = fmt::format("controller {} {}", thing.bus, c.name.hex());
    thing.kind = "controller";
    thing.code = state_code(c.state);
    thing.severity = c.state == ControllerState::present ? "note" : "warning";
    thing.controllers = {c.name.hex()};
    thing.text = fmt::format("{} is {}{}", controller_words(all, i), thing.code, software_words(c));
    thing.start = c.first_seen.time;
    things.push_back(std::move(thing));
  }
}

void add_roll(const Conclusions& all, std::vector<Standing>& things) {
  if (!all.rollcall || all.nothing_read()) return;  // ten times "cannot be told" at every start is no news
  for (std::size_t i = 0; i < all.rollcall->entries.size(); ++i) {
    const RollcallEntry& entry = all.rollcall->entries[i];
    Standing thing;
    thing.key = fmt::format("roll-call {} {}", i, entry.label);
    thing.kind = "roll-call";
    thing.code = state_code(entry.state);
    thing.severity = entry.state == EntryState::present || !entry.required ? "note" : "warning";
    if (entry.controller) {
      thing.controllers = {all.controllers[*entry.controller].name.hex()};
      thing.bus = bus_name(all, all.controllers[*entry.controller].bus);
    }
    thing.text = fmt::format("{}: {}{}", entry.label, thing.code, entry.detail.empty() ? "" : " (" + entry.detail + ")");
    thing.start = all.start;
    things.push_back(std::move(thing));
  }
}

void add_dropouts(const Conclusions& all, std::vector<Standing>& things) {
  for (const Dropout& dropout : all.dropouts) {
    Standing thing;
    thing.bus = bus_name(all, dropout.bus);
    thing.kind = "dropout";
    thing.code = kind_code(dropout.kind);
    thing.severity = dropout.kind == DropoutKind::power_down ? "note" : "fault";
    std::string who = fmt::format("address {}", dropout.address);
    if (dropout.controller) {
      who = all.controllers[*dropout.controller].name.hex();
      thing.controllers = {who};
    }
    thing.key = fmt::format("dropout {} {} {}", thing.bus, who, dropout.start.time);
    thing.start = dropout.start.time;
    if (dropout.end) thing.end = dropout.end->time;
    thing.text = fmt::format("{} fell silent{}", voice_words(all, dropout.controller, dropout.address),
                             dropout.end ? fmt::format(" for {}{}", format_span(dropout.end->time - dropout.start.time),
                                                       dropout.reclaimed ? " and came back with a new address claim" : " and came back")
                                         : "");
    things.push_back(std::move(thing));
  }
}

void add_trouble_codes(const Conclusions& all, std::vector<Standing>& things) {
  for (const DtcRecord& record : all.dtcs) {
    Standing thing;
    thing.bus = bus_name(all, record.bus);
    const std::string who = record.controller ? all.controllers[*record.controller].name.hex() : fmt::format("address {}", record.address);
    thing.key = fmt::format("trouble-code {} {} {} {}", thing.bus, who, record.dtc.spn, record.dtc.fmi);
    thing.kind = "trouble-code";
    thing.code = record.cleared ? "cleared" : "active";
    thing.severity = record.cleared ? "note" : "warning";
    if (record.controller) thing.controllers = {who};
    thing.text = fmt::format("{}: SPN {}{}, FMI {} ({})", voice_words(all, record.controller, record.address), record.dtc.spn,
                             record.spn_text ? " (" + *record.spn_text + ")" : "", record.dtc.fmi, record.fmi_text);
    thing.start = record.first_active.time;
    if (record.cleared) thing.end = record.cleared->time;
    things.push_back(std::move(thing));
  }
}

void add_faults(const Conclusions& all, std::vector<Standing>& things) {
  for (const Fault& fault : all.faults) {
    Standing thing;
    thing.kind = "fault";
    thing.code = fault.code;
    thing.severity = severity_code(fault.severity);
    if (fault.bus) thing.bus = bus_name(all, *fault.bus);
    std::string who;
    for (const std::size_t c : fault.controllers) {
      thing.controllers.push_back(all.controllers[c].name.hex());
      who += thing.controllers.back() + " ";
    }
    thing.key = fmt::format("fault {} {} {}{}", fault.code, thing.bus, who, fault.start);
    thing.text = fault.text;
    thing.start = fault.start;
    thing.end = fault.end;
    things.push_back(std::move(thing));
  }
}

void add_notes(const Conclusions& all, std::vector<Standing>& things) {
  for (const RecordedNote& noted : all.recorder.notes) {
    Standing thing;
    thing.kind = "note";
    thing.code = note_code(noted.note.kind);
    thing.severity = "note";
    if (noted.note.of_bus) thing.bus = bus_name(all, noted.bus);
    thing.text = note_words(noted.note);
    thing.start = noted.time;
    thing.end = noted.time;
    thing.key = fmt::format("note {} {} {}", noted.time, thing.code, thing.text);
    things.push_back(std::move(thing));
  }
}

}  // namespace

std::vector<Standing> standing_of(const Conclusions& all) {
  std::vector<Standing> things;
  add_controllers(all, things);
  add_roll(all, things);
  add_dropouts(all, things);
  add_trouble_codes(all, things);
  add_faults(all, things);
  add_notes(all, things);
  return things;
}

Json to_json(const std::vector<Standing>& things) {
  Json list = Json::array();
  for (const Standing& thing : things)
    list.push_back({thing.key, thing.kind, thing.code, thing.severity, thing.bus, thing.controllers, thing.text, thing.start,
                    thing.end ? Json(*thing.end) : Json(nullptr)});
  return list;
}

std::vector<Standing> standing_from_json(const Json& json) {
  std::vector<Standing> things;
  for (const Json& one : json) {
    Standing thing;
    thing.key = one[0];
    thing.kind = one[1];
    thing.code = one[2];
    thing.severity = one[3];
    thing.bus = one[4];
    thing.controllers = one[5].get<std::vector<std::string>>();
    thing.text = one[6];
    thing.start = one[7];
    if (!one[8].is_null()) thing.end = one[8].get<TimeNs>();
    things.push_back(std::move(thing));
  }
  return things;
}

std::vector<LiveEvent> StandingMemory::compare(std::vector<Standing> now, TimeNs latest) {
  std::vector<LiveEvent> events;
  std::map<std::string, Standing> next;
  for (Standing& thing : now) {
    // Two of one key (a cap, a repetition): the first stands for both.
    if (next.count(thing.key) > 0) continue;
    const auto known = before_.find(thing.key);
    const bool has_state = thing.kind == "controller" || thing.kind == "roll-call";
    if (known == before_.end()) {
      const char* verb = thing.kind == "controller" ? "-appears" : thing.kind == "roll-call" ? "" : thing.kind == "note" ? "" : "-begins";
      events.push_back({thing.kind + verb, thing.start, thing, ""});
    } else if (has_state) {
      if (known->second.text != thing.text)
        events.push_back({thing.kind + "-changes", latest, thing, known->second.code});
    } else if (!known->second.end && thing.end) {
      events.push_back({thing.kind + "-ends", *thing.end, thing, ""});
    } else if (thing.kind == "trouble-code" && known->second.end && !thing.end) {
      events.push_back({thing.kind + "-begins", latest, thing, ""});
    }
    next.emplace(thing.key, std::move(thing));
  }
  // What later frames have shown to be otherwise.
  for (auto& [key, thing] : before_)
    if (next.count(key) == 0) events.push_back({thing.kind + "-withdrawn", latest, thing, ""});
  before_ = std::move(next);
  std::stable_sort(events.begin(), events.end(), [](const LiveEvent& a, const LiveEvent& b) { return a.time < b.time; });
  changes_ += events.size();
  return events;
}

std::string event_line(const LiveEvent& event, std::uint64_t run) {
  const Standing& what = event.what;
  nlohmann::ordered_json line = {{"time", format_rfc3339(event.time)},
                                 {"run", run > 0 ? Json(run) : Json(nullptr)},
                                 {"event", event.event},
                                 {"severity", what.severity},
                                 {"code", what.code},
                                 {"bus", what.bus.empty() ? Json(nullptr) : Json(what.bus)},
                                 {"controllers", what.controllers},
                                 {"start", format_rfc3339(what.start)},
                                 {"end", what.end ? Json(format_rfc3339(*what.end)) : Json(nullptr)},
                                 {"text", what.text}};
  if (!event.before.empty()) line["before"] = event.before;
  return line.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
}

}  // namespace tramlog
