// The answer to "what is wrong here?" in a few sentences: who is missing, lost or refused, and since when.
// Every format for people tells it in these words.
#pragma once

#include <string>
#include <vector>

#include "report/report.hpp"

namespace tramlog {

struct AnswerStyle {
  const char* where = "";  // how the sentence ends that counts faults and warnings: " below"
  bool brief = false;      // of many controllers only the first few are told, and the rest counted
  bool by_time = false;    // who failed first comes first; else in the order of the roster
  bool findings = true;    // they are told, too: "see finding 1"
};

/// One sentence each, without a bullet.
std::vector<std::string> answer_lines(const Report& report, const AnswerStyle& style);

/// Nothing but errors reached the recorder: it cannot miss anybody.
bool only_errors_heard(const Conclusions& all);
/// How lines begin that tell of no fault of the bus, and yet of what may be why the drill does not do as it is
/// told.
inline constexpr const char* kWorthKnowing = "WORTH KNOWING";
/// Whether a line of the answer says that not all could be read: no format may leave it out.
bool tells_of_damage(const std::string& line);

/// In capitals (ASCII): "MISSING".
std::string upper(std::string text);
/// When the controller first was in trouble; if it never was, when it was first heard.
TimeNs trouble_start(const Conclusions& all, std::size_t controller);
bool several_buses(const Conclusions& all);
/// " on can1" where there are several, else nothing.
std::string on_bus(const Conclusions& all, BusIndex bus);

}  // namespace tramlog
