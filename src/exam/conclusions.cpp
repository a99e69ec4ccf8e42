// What is asked of conclusions as a whole.
#include "exam/conclusions.hpp"

#include <algorithm>

namespace tramlog {

bool is_slice(const Conclusions& all) {
  return std::any_of(all.recorder.notes.begin(), all.recorder.notes.end(),
                     [](const RecordedNote& noted) { return noted.note.kind == RecorderNote::Kind::cut; });
}

const BlindSpan* blind_span(const Conclusions& all, const Fault& fault) {
  if (fault.code != "recorder.blind" || !fault.bus || *fault.bus >= all.buses.size()) return nullptr;
  for (const BlindSpan& span : all.buses[*fault.bus].blind)
    if (span.start == fault.start && span.end == fault.end) return &span;
  return nullptr;
}

SpanNs blind_total(const Conclusions& all) {
  std::vector<std::pair<TimeNs, TimeNs>> spans;
  for (const BusSummary& bus : all.buses)
    for (const BlindSpan& span : bus.blind)
      if (span.kind != Deafness::left_out) spans.emplace_back(span.start, span.end);
  std::sort(spans.begin(), spans.end());
  SpanNs sum = 0;
  TimeNs counted_to = INT64_MIN;
  for (const auto& [start, end] : spans) {
    if (end <= counted_to) continue;
    sum += end - std::max(start, counted_to);
    counted_to = end;
  }
  return sum;
}

bool something_wrong(const Conclusions& all) {
  for (const Fault& fault : all.faults)
    if (fault.severity != Severity::note) return true;
  for (const ControllerRecord& controller : all.controllers)
    if (controller.state != ControllerState::present) return true;
  for (const Dropout& dropout : all.dropouts)
    if (dropout.kind != DropoutKind::power_down) return true;
  if (all.rollcall)
    for (const RollcallEntry& entry : all.rollcall->entries)
      if (entry.required && entry.state != EntryState::present && entry.state != EntryState::software_unknown)
        return true;
  return false;
}

}  // namespace tramlog
