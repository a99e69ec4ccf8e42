// Presence and software together: the state of each roster entry.
#include <fmt/format.h>

#include <algorithm>

#include "exam/conclude.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

std::string sentence(std::string text) {
  while (!text.empty() && text.back() == '.') text.pop_back();
  return text;
}

void add(std::string& detail, const std::string& more) {
  if (more.empty()) return;
  if (!detail.empty()) detail += "; ";
  detail += more;
}

std::string dropout_words(const Conclusions& found, std::size_t controller) {
  unsigned times = 0;
  const Dropout* first = nullptr;
  const Dropout* last = nullptr;
  for (const Dropout& dropout : found.dropouts) {
    if (dropout.controller != controller || dropout.kind == DropoutKind::power_down) continue;
    ++times;
    if (first == nullptr) first = &dropout;
    last = &dropout;
  }
  if (first == nullptr) return {};
  if (!last->end) {
    const std::string before =
        times > 1 ? fmt::format(", after {}", counted(times - 1, "earlier dropout", "earlier dropouts")) : "";
    return fmt::format("last heard {}, silent for {} until the capture's end{}", mark_words(last->start),
                       format_span(last->judged_until - last->start.time), before);
  }
  return fmt::format("{}, first {} for {}", counted(times, "dropout", "dropouts"), mark_words(first->start),
                     format_span(first->judged_until - first->start.time));
}

// Whoever stopped without breaking a rhythm that could prove it (it has none, or went with the machine's
// power) counts as present; the reader must see that nothing was heard of it of late.
std::string long_unheard_words(const Conclusions& found, Name name) {
  const Mark* last = nullptr;
  SpanNs slowest = 0;
  for (const ControllerRecord& controller : found.controllers) {
    if (controller.name != name) continue;
    if (last == nullptr || controller.last_seen.time > last->time) last = &controller.last_seen;
    slowest = std::max(slowest, controller.slowest_period);
  }
  if (last == nullptr || found.end - last->time <= std::max(kMinute, 3 * slowest)) return {};
  return fmt::format("last heard {}, {} before the capture's end", mark_words(*last),
                     format_span(found.end - last->time));
}

// Voices that talked from the capture's beginning and were never asked for an address claim.
std::size_t nameless_voices(const Conclusions& found) {
  std::size_t count = 0;
  for (const UnclaimedRecord& voice : found.unclaimed)
    count += !voice.asked && voice.first_seen.time - found.start <= kCaptureBeginning;
  return count;
}

}  // namespace

Rollcall call_the_roll(const Roster& roster, const Conclusions& found) {
  std::vector<Seen> seen;
  for (const ControllerRecord& controller : found.controllers)
    seen.push_back({controller.name, controller.software, controller.software_silence});
  const RosterMatch match = match_roster(roster, seen);

  Rollcall call;
  call.file = roster.file;
  call.machine = roster.machine;
  for (const EntryResult& result : match.entries) {
    const RosterEntry& wanted = roster.entries[result.entry];
    RollcallEntry entry;
    entry.label = wanted.label;
    entry.required = wanted.required;
    entry.supply = wanted.supply.value_or("");
    entry.function = wanted.name.exact ? wanted.name.exact->function() : wanted.name.function;
    entry.device_class = wanted.name.exact ? wanted.name.exact->device_class() : wanted.name.device_class;
    if (wanted.side) entry.side = side_text(*wanted.side);
    entry.controller = result.seen;
    entry.stand_in = result.stand_in;
    switch (result.match) {
      case EntryMatch::ambiguous:
        entry.state = EntryState::ambiguous;
        break;
      case EntryMatch::missing:
        entry.state = EntryState::missing;
        // A recording that begins in the middle of the day knows voices, but not whose they are.
        if (const std::size_t nameless = nameless_voices(found); nameless > 0 && wanted.required) {
          entry.state = EntryState::ambiguous;
          entry.nameless = true;
          add(entry.detail,
              fmt::format("no address claim of it was heard; {} since the beginning without having been "
                          "asked who they are, and it may be one of them",
                          counted(nameless, "address talks", "addresses talk")));
          break;
        }
        if (found.nothing_read()) {
          entry.state = EntryState::ambiguous;
          add(entry.detail, "no frame was heard at all, so nothing can be said of any controller");
          break;
        }
        add(entry.detail, wanted.required ? "" : "optional, not on the bus");
        if (wanted.required)
          add(entry.detail, fmt::format("not one frame or address claim of it, from {} to {} ({})",
                                        mark_words({found.start, 1}), format_time_of_day(found.end),
                                        format_span(found.end - found.start)));
        if (const SpanNs blind = blind_total(found); blind > 0)
          add(entry.detail, fmt::format("the recorder was blind for {} of it", format_span(blind)));
        break;
      case EntryMatch::matched: {
        // A NAME on two buses is one unit: its best presence counts.
        ControllerState state = found.controllers[*result.seen].state;
        for (std::size_t i = 0; i < found.controllers.size(); ++i)
          if (found.controllers[i].name == found.controllers[*result.seen].name)
            state = std::min(state, found.controllers[i].state);
        if (state == ControllerState::refused) {
          entry.state = EntryState::lost;
          add(entry.detail, "on the bus, but it cannot claim an address");
        } else if (state == ControllerState::lost) {
          entry.state = EntryState::lost;
        } else if (state == ControllerState::intermittent) {
          entry.state = EntryState::intermittent;
        } else if (result.software == SoftwareVerdict::wrong) {
          entry.state = EntryState::wrong_software;
        } else if (result.software == SoftwareVerdict::unknown) {
          entry.state = EntryState::software_unknown;
        } else {
          entry.state = EntryState::present;
        }
        add(entry.detail, state == ControllerState::present
                              ? long_unheard_words(found, found.controllers[*result.seen].name)
                              : dropout_words(found, *result.seen));
        break;
      }
    }
    add(entry.detail, sentence(result.detail));
    call.entries.push_back(std::move(entry));
  }
  for (const std::size_t extra : match.extra) call.extra.push_back(found.controllers[extra].name);
  std::sort(call.extra.begin(), call.extra.end());
  call.extra.erase(std::unique(call.extra.begin(), call.extra.end()), call.extra.end());
  return call;
}

}  // namespace tramlog
