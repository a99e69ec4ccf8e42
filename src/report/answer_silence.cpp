#include "report/answer_silence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <set>

#include "exam/words.hpp"

namespace tramlog {
namespace {

bool is_of(const Dropout& dropout, const BusSilence& silence) {
  return dropout.kind == DropoutKind::bus_silent && dropout.bus == silence.bus &&
         dropout.judged_until >= silence.start.time && dropout.start.time <= silence.judged_until;
}

std::optional<std::size_t> finding_of(const Conclusions& all, const BusSilence& silence) {
  for (std::size_t rank = 0; rank < all.findings.size(); ++rank)
    for (const std::size_t d : all.findings[rank].dropouts)
      if (is_of(all.dropouts[d], silence)) return rank;
  return std::nullopt;
}

}  // namespace

bool away_with_bus(const Conclusions& all, std::size_t controller) {
  const ControllerState state = all.controllers[controller].state;
  if (state != ControllerState::intermittent && state != ControllerState::lost) return false;
  bool any = false;
  for (const Dropout& dropout : all.dropouts) {
    if (dropout.controller != controller || dropout.kind == DropoutKind::power_down) continue;
    if (dropout.kind != DropoutKind::bus_silent) return false;
    any = true;
  }
  return any;
}

std::vector<std::string> silence_answers(const Conclusions& all, std::size_t most, bool findings) {
  std::vector<std::string> lines;
  for (const BusSilence& silence : all.silences) {
    const bool unknown = silence.verdict == BusSilence::Verdict::unknown;
    if (!unknown && silence.verdict != BusSilence::Verdict::silent) continue;
    if (lines.size() == most) break;
    std::set<std::size_t> with_it;
    for (const Dropout& dropout : all.dropouts)
      if (dropout.controller && is_of(dropout, silence)) with_it.insert(*dropout.controller);
    std::string line =
        fmt::format("{}  {}: for {}, since {}{}", unknown ? "SILENCE OF BUS OR RECORDER" : "BUS SILENT",
                    all.buses[silence.bus].name, format_span(silence.judged_until - silence.start.time),
                    mark_words(silence.start), silence.end ? "" : ", until the capture's end");
    if (!with_it.empty())
      line += fmt::format(", and with it {}", counted(with_it.size(), "controller", "controllers"));
    if (const auto rank = finding_of(all, silence)) {
      const bool recorder = all.findings[*rank].cause.starts_with("recorder.");
      if (recorder) line += "; rather the recorder than the machine";
      if (findings) line += fmt::format("{} see finding {}", recorder ? "," : ";", *rank + 1);
    }
    lines.push_back(line + ".");
  }
  return lines;
}

}  // namespace tramlog
