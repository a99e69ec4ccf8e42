// The lines of the seeding check-list that need attention, as faults of the report.
#include <algorithm>
#include <string_view>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check seeding_lines;

namespace {

// What begins this close to a dropout is its consequence: a speed source that stops with its controller, a
// set rate that nobody follows because the power went.
constexpr SpanNs kConsequence = 3 * kSecond;

bool follows_from_a_dropout(const Conclusions& all, const CheckLine& line) {
  if (!line.start) return false;
  const auto near = [&](TimeNs start, TimeNs end) {
    return *line.start >= start - kConsequence && *line.start <= end + kConsequence;
  };
  return std::any_of(all.dropouts.begin(), all.dropouts.end(),
                     [&](const Dropout& d) { return near(d.start.time, d.judged_until); }) ||
         std::any_of(all.silences.begin(), all.silences.end(),
                     [&](const BusSilence& s) { return near(s.start.time, s.judged_until); });
}

bool of_a_failed_source(std::string_view code) {
  return code == "speed.source-lost" || code == "speed.frozen" || code == "position.lost" ||
         code == "position.frozen";
}

void tell(const Conclusions& all, const CheckLine& line, std::optional<BusIndex> bus, ControllerId client,
          std::vector<Fault>& faults) {
  if (line.verdict != Verdict::attention || follows_from_a_dropout(all, line)) return;
  Fault fault;
  fault.code = line.code;
  fault.severity = Severity::warning;
  fault.start = line.start.value_or(all.start);
  fault.end = line.end;
  if (client != kNobody) fault.controllers = {static_cast<std::size_t>(client)};
  fault.bus = bus;
  fault.text = line.subject.empty() ? line.text : line.subject + ": " + line.text;
  for (const Moment& moment : line.moments) fault.evidence.push_back({moment.at, moment.text});
  faults.push_back(std::move(fault));
}

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (const ImplementRecord& implement : all.seeding.implements)
    for (const CheckLine& line : implement.lines) tell(all, line, implement.bus, implement.client, faults);
  // What belongs to the machine matters to the report where an implement worked by it; sources that are lost
  // or frozen always do.
  const bool worked = std::any_of(all.seeding.implements.begin(), all.seeding.implements.end(),
                                  [](const ImplementRecord& implement) { return implement.worked; });
  for (const CheckLine& line : all.seeding.lines)
    if (worked || of_a_failed_source(line.code)) tell(all, line, std::nullopt, kNobody, faults);
}

}  // namespace

const Check seeding_lines{
    "seeding",
    "A line of the seeding check-list needs attention; its faults carry the line's own code "
    "(meter.dead-time, section.never-follows ..). Limits: dbc/seeding-limits.toml.",
    judge};

}  // namespace tramlog::checks
