#include "exam/cause_tools.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog {

std::vector<DropoutEvent> dropout_events(const Conclusions& found, DropoutKind kind) {
  std::vector<DropoutEvent> events;
  std::vector<bool> used(found.dropouts.size(), false);
  for (std::size_t i = 0; i < found.dropouts.size(); ++i) {
    const Dropout& first = found.dropouts[i];
    if (used[i] || first.kind != kind) continue;
    DropoutEvent event;
    event.start = first.start;
    event.times = {first.start};
    for (std::size_t j = i; j < found.dropouts.size(); ++j) {
      const Dropout& dropout = found.dropouts[j];
      if (j != i && (!first.group || dropout.group != first.group)) continue;
      used[j] = true;
      event.dropouts.push_back(j);
      event.spread = std::max(event.spread, dropout.start.time - first.start.time);
      if (dropout.controller) event.controllers.push_back(*dropout.controller);
      event.all_returned = event.all_returned && dropout.end.has_value();
      event.all_reclaimed = event.all_reclaimed && dropout.reclaimed;
      event.none_reclaimed = event.none_reclaimed && !dropout.reclaimed;
    }
    std::sort(event.controllers.begin(), event.controllers.end());
    const auto again = std::find_if(events.begin(), events.end(), [&](const DropoutEvent& e) {
      return !e.controllers.empty() && e.controllers == event.controllers &&
             e.all_returned == event.all_returned && e.all_reclaimed == event.all_reclaimed &&
             e.none_reclaimed == event.none_reclaimed;
    });
    if (again != events.end()) {
      again->dropouts.insert(again->dropouts.end(), event.dropouts.begin(), event.dropouts.end());
      again->times.push_back(event.start);
    } else {
      events.push_back(std::move(event));
    }
  }
  return events;
}

std::string times_words(const DropoutEvent& event) {
  std::string text = "at " + mark_words(event.times.front());
  if (event.times.size() == 2) text += " and at " + mark_words(event.times[1]);
  if (event.times.size() > 2) text += fmt::format(" and {} more times", event.times.size() - 1);
  return text;
}

std::vector<std::size_t> unaffected(const Conclusions& found, const DropoutEvent& event) {
  std::vector<std::size_t> others;
  const BusIndex bus = found.dropouts[event.dropouts.front()].bus;
  for (std::size_t i = 0; i < found.controllers.size(); ++i) {
    const ControllerRecord& c = found.controllers[i];
    if (c.bus != bus || c.rhythms == 0 ||
        std::binary_search(event.controllers.begin(), event.controllers.end(), i))
      continue;
    if (c.first_seen.time < event.start.time && c.last_seen.time > event.start.time + kSecond)
      others.push_back(i);
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

std::vector<std::size_t> complaints_about(const Conclusions& found, Address address) {
  std::vector<std::size_t> indexes;
  for (std::size_t i = 0; i < found.dtcs.size(); ++i) {
    const Dtc& dtc = found.dtcs[i].dtc;
    if (dtc.spn == 2000u + address && (dtc.fmi == 9 || dtc.fmi == 19)) indexes.push_back(i);
  }
  return indexes;
}

}  // namespace tramlog
