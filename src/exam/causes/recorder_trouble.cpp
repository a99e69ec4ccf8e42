#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause recorder_trouble;

namespace {

constexpr std::size_t kKindsTold = 3;

const char* step_for(Deafness kind) {
  switch (kind) {
    case Deafness::frames_lost:
      return "Does the recorder keep up? Its disk, its other work, and the state of its interface: tramlog "
             "status.";
    case Deafness::stood_still:
      return "The recorder's supply and plug; or was its clock set forward at that time?";
    case Deafness::cut_off:
      return "The recorder's supply and plug: does the ignition key switch it off?";
    case Deafness::bus_off:
      return "The recorder's bit rate, its interface and its plug.";
    case Deafness::interface_down:
      return "The recorder's CAN adaptor and who switched its interface off.";
    case Deafness::damaged:
      return "What was lost was lost before this recording was made from another: ask for that one.";
    case Deafness::paused:
    case Deafness::left_out:
      break;
  }
  return nullptr;
}

std::string text_for(const std::map<Deafness, SpanNs>& kinds) {
  const char* what = "The recorder did not hear everything";
  if (kinds.size() == 1 && kinds.begin()->first == Deafness::stood_still)
    what = "The recorder stood still, or its clock was set forward";
  else if (kinds.size() == 1 && kinds.begin()->first == Deafness::damaged)
    what = "Part of the recording is lost";
  else if (kinds.size() == 1 && kinds.begin()->first == Deafness::paused)
    what = "Recording was paused";
  return fmt::format("{}: in those times this report says nothing of the machine.", what);
}

void tell(const Scene& scene, Finding& finding) {
  SpanNs blind = 0;
  std::uint64_t lost = 0;
  std::map<Deafness, SpanNs> kinds;
  for (const std::size_t f : scene.incident.faults)
    if (const BlindSpan* span = blind_span(scene.all, scene.all.faults[f])) {
      const SpanNs length = span_between(span->start, span->end);
      blind = later_by(blind, length);
      lost += span->frames_lost.value_or(0);
      SpanNs& of_kind = kinds[span->kind];
      of_kind = later_by(of_kind, length);
    }
  finding.text = text_for(kinds);
  finding.why = {fmt::format(
      "Blind for {} in {}{}.", format_span(blind), counted(scene.incident.faults.size(), "span", "spans"),
      lost > 0 ? fmt::format(", {} counted as lost", counted(lost, "frame", "frames")) : "")};
  std::vector<std::pair<Deafness, SpanNs>> longest(kinds.begin(), kinds.end());
  std::stable_sort(longest.begin(), longest.end(),
                   [](const auto& a, const auto& b) { return a.second > b.second; });
  for (const auto& [kind, span] : longest)
    if (const char* step = step_for(kind); step != nullptr && finding.next_steps.size() < kKindsTold)
      finding.next_steps.push_back(step);
  finding.next_steps.push_back("Record again; do not judge the machine by these times.");
}

}  // namespace

const Cause recorder_trouble{"recorder.blind", bit_of(IncidentKind::recorder), tell};

}  // namespace tramlog::causes
