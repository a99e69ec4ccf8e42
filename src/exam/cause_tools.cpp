#include "exam/cause_tools.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog {

constexpr int kMissedPeriods = 3;

std::vector<std::size_t> unaffected(const Conclusions& found, const Incident& incident) {
  std::vector<std::size_t> others;
  if (!incident.bus || incident.times.empty()) return others;
  const TimeNs start = incident.times.front().start.time;
  SpanNs longest = 0;
  for (const IncidentTime& time : incident.times) longest = std::max(longest, time.until - time.start.time);
  for (std::size_t i = 0; i < found.controllers.size(); ++i) {
    const ControllerRecord& c = found.controllers[i];
    if (c.bus != *incident.bus || c.rhythms == 0 ||
        std::binary_search(incident.controllers.begin(), incident.controllers.end(), i))
      continue;
    // In so short a time nobody would have missed it.
    if (longest < kMissedPeriods * c.fastest_period) continue;
    if (c.first_seen.time < start && c.last_seen.time > start + kSecond) others.push_back(i);
  }
  return others;
}

std::vector<std::size_t> faults_with(const Conclusions& found, const std::string& code) {
  std::vector<std::size_t> indexes;
  for (std::size_t i = 0; i < found.faults.size(); ++i)
    if (found.faults[i].code == code) indexes.push_back(i);
  return indexes;
}

std::string silence_lengths(const Conclusions& found, const std::vector<std::size_t>& dropouts) {
  constexpr std::size_t kNamed = 4;
  std::string text = counted(dropouts.size(), "dropout", "dropouts") + ", silent for ";
  for (std::size_t i = 0; i < std::min(dropouts.size(), kNamed); ++i) {
    const Dropout& dropout = found.dropouts[dropouts[i]];
    if (i > 0) text += ", ";
    text += format_span(dropout.judged_until - dropout.start.time);
    if (!dropout.end) text += " until the capture's end";
  }
  if (dropouts.size() > kNamed) text += ", ..";
  return text;
}

}  // namespace tramlog
