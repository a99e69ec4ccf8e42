// What stands at one moment of a live run, and what has changed since the moment before: the daemon's events.
#pragma once

#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "exam/conclusions.hpp"

namespace tramlog {

/// One controller, roll-call entry, dropout, fault, trouble code or note.
struct Standing {
  std::string key;       // the same from moment to moment
  std::string kind;      // "controller", "roll-call", "dropout", "fault", "trouble-code", "note"
  std::string code;      // of a fault; "power-down", "bus-silent", "controller" of a dropout; state of the others
  std::string severity;  // "note", "warning", "fault"
  std::string bus;
  std::vector<std::string> controllers;  // NAMEs
  std::string text;
  TimeNs start = 0;
  std::optional<TimeNs> end;
};

std::vector<Standing> standing_of(const Conclusions& all);
nlohmann::json to_json(const std::vector<Standing>& things);
std::vector<Standing> standing_from_json(const nlohmann::json& json);

/// One line of the event stream.
struct LiveEvent {
  std::string event;  // "fault-begins", "dropout-ends", "roll-call-changes", "fault-withdrawn", ..
  TimeNs time = 0;    // capture time
  Standing what;
  std::string before;  // state before, where a state changed
};
/// One JSON object in one line. `run`: 0 while there is no folder to number one in.
std::string event_line(const LiveEvent& event, std::uint64_t run);

class StandingMemory {
 public:
  /// `latest`: capture time of the new moment.
  std::vector<LiveEvent> compare(std::vector<Standing> now, TimeNs latest);
  /// How often something changed.
  std::uint64_t changes() const { return changes_; }

 private:
  std::map<std::string, Standing> before_;
  std::uint64_t changes_ = 0;
};

}  // namespace tramlog
