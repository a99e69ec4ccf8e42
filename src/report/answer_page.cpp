#include "report/answer_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <numeric>

#include "exam/damage_words.hpp"
#include "exam/words.hpp"
#include "report/answer_silence.hpp"

namespace tramlog {

std::string upper(std::string text) {
  for (char& c : text) c = static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  return text;
}

bool several_buses(const Conclusions& all) {
  return all.buses.size() > 1;
}

std::string on_bus(const Conclusions& all, BusIndex bus) {
  return several_buses(all) ? fmt::format(" on {}", all.buses[bus].name) : std::string();
}

TimeNs trouble_start(const Conclusions& all, std::size_t controller) {
  for (const Dropout& d : all.dropouts)  // by time
    if (d.controller == controller && d.kind != DropoutKind::power_down) return d.start.time;
  return all.controllers[controller].first_seen.time;
}

bool only_errors_heard(const Conclusions& all) {
  return all.frames == 0 && all.error_frames > 0;
}

namespace {

using Lines = std::vector<std::string>;

constexpr const char* kDamaged = "CAPTURE DAMAGED";
constexpr const char* kMadeFromDamaged = "MADE FROM A DAMAGED RECORDING";
constexpr std::size_t kBriefLines = 2;    // of each list
constexpr std::size_t kBriefAnswers = 3;  // controllers in the answer

template <class When>
std::vector<std::size_t> in_order(std::size_t count, const When& when, const AnswerStyle& style) {
  std::vector<std::size_t> order(count);
  std::iota(order.begin(), order.end(), std::size_t{0});
  if (style.by_time)
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return when(a) < when(b); });
  return order;
}

void more_in_roll_call(Lines& lines, std::size_t told) {
  if (told > kBriefAnswers)
    lines.push_back(
        fmt::format("{}: see below.", counted(told - kBriefAnswers, "more controller is not as it should be",
                                              "more controllers are not as they should be")));
}

void entry_answers(Lines& lines, const Conclusions& all, const AnswerStyle& style) {
  const Rollcall& roll = *all.rollcall;
  std::size_t fine = 0;
  std::size_t required = 0;
  std::size_t nameless = 0;
  std::size_t told = 0;
  const bool only_errors = only_errors_heard(all);
  std::size_t with_bus = 0;
  std::size_t errors_only = 0;
  std::size_t unheard = 0;
  const auto when = [&](std::size_t i) {
    return roll.entries[i].controller ? trouble_start(all, *roll.entries[i].controller) : all.start;
  };
  for (const std::size_t index : in_order(roll.entries.size(), when, style)) {
    const RollcallEntry& entry = roll.entries[index];
    if (!entry.required && entry.state == EntryState::missing) continue;
    ++required;
    const bool unknown = entry.state == EntryState::software_unknown;
    if (entry.unheard) {
      ++unheard;
      continue;
    }
    if (entry.state == EntryState::present || unknown) {
      ++fine;
      continue;
    }
    if (only_errors && entry.state == EntryState::missing) {
      ++errors_only;
      continue;
    }
    if (entry.nameless) {
      ++nameless;
      continue;
    }
    const bool away = entry.state == EntryState::intermittent || entry.state == EntryState::lost;
    if (away && entry.controller && away_with_bus(all, *entry.controller)) {
      ++with_bus;
      continue;
    }
    if (style.brief && ++told > kBriefAnswers) continue;
    lines.push_back(fmt::format("{}  {}{}.", upper(state_code(entry.state)), entry.label,
                                entry.detail.empty() ? "" : ": " + entry.detail));
  }
  more_in_roll_call(lines, told);
  if (errors_only > 0)
    lines.push_back(fmt::format("CANNOT BE TOLD  for {}: nothing but error frames reached the recorder.",
                                counted(errors_only, "controller", "controllers")));
  if (nameless > 0)
    lines.push_back(
        fmt::format("CANNOT BE TOLD  for {}: {} talked from the beginning and nobody asked who they are. "
                    "Record from key-on, have a display ask for address claims, or ask with tramlog rollcall "
                    "--live --ask.",
                    counted(nameless, "controller", "controllers"),
                    counted(all.unclaimed.size(), "address", "addresses")));
  std::size_t unknown = 0;
  for (const RollcallEntry& entry : roll.entries) unknown += entry.state == EntryState::software_unknown;
  if (errors_only < required || required == 0)
    lines.push_back(
        fmt::format("{} of {} expected controllers are here as they should be{}{}{}.", fine, required,
                    unheard > 0 ? fmt::format(", {} cannot be judged in this slice", unheard) : "",
                    with_bus > 0 ? fmt::format(", {} away only with the bus", with_bus) : "",
                    unknown > 0 ? fmt::format(", the software of {} of them is unknown", unknown) : ""));
  if (!roll.extra.empty())
    lines.push_back(fmt::format("{} on the bus that the roster does not know.",
                                counted(roll.extra.size(), "controller is", "controllers are")));
}

// Of every controller, or only of those that no roster entry speaks for.
void controller_answers(Lines& lines, const Conclusions& all, const AnswerStyle& style, bool only_extra) {
  std::size_t told = 0;
  const auto when = [&](std::size_t i) { return trouble_start(all, i); };
  for (const std::size_t i : in_order(all.controllers.size(), when, style)) {
    const ControllerRecord& c = all.controllers[i];
    if (c.state == ControllerState::present || (only_extra && !c.label.empty())) continue;
    if (away_with_bus(all, i)) continue;
    if (style.brief && ++told > kBriefAnswers) continue;
    const Dropout* shown = nullptr;
    std::size_t times = 0;
    for (const Dropout& d : all.dropouts)
      if (d.controller == i && d.kind != DropoutKind::power_down) {
        if (shown == nullptr || !d.end) shown = &d;
        ++times;
      }
    std::string what;
    if (c.state == ControllerState::refused)
      what = fmt::format("cannot claim an address, since {}", mark_words(c.last_seen));
    else if (shown != nullptr && !shown->end)
      what = fmt::format("last heard {}, silent for {} until the capture's end", mark_words(shown->start),
                         format_span(shown->judged_until - shown->start.time));
    else if (shown != nullptr)
      what = fmt::format("{}, first {} for {}", counted(times, "dropout", "dropouts"),
                         mark_words(shown->start), format_span(shown->judged_until - shown->start.time));
    lines.push_back(fmt::format("{}  {}{}: {}.", upper(state_code(c.state)), controller_words(all, i),
                                on_bus(all, c.bus), what));
  }
  more_in_roll_call(lines, told);
}

// What was lost before: the capture itself is whole, but was made from one that was not.
void lost_before(Lines& lines, const Conclusions& all) {
  const DamageTally tally = damage_before(all);
  if (tally.places == 0) return;
  const std::size_t losses = losses_in(tally);
  const bool only_end = losses == 1 && tally.ends == 1;
  const std::string lost =
      fmt::format("{} in {} {} lost{}", counted(tally.bytes, "byte", "bytes"),
                  counted(losses, "place", "places"), tally.bytes == 1 ? "is" : "are",
                  only_end ? "" : (losses == 1 ? ", at " : ", the last at ") + format_time_of_day(tally.last_loss));
  lines.push_back(fmt::format("{}  {}.", kMadeFromDamaged, damage_sum_words(tally, lost)));
}

// Of what is no fault of the bus, yet may be why the drill does not do as it is told.
bool is_worth_knowing(const Fault& fault) {
  constexpr std::string_view kCodes[] = {
      "controller.identity-changed", "controller.message-stopped", "controller.software-changed",
      "device.version-mismatch",     "message.pace",               "request.unanswered",
      "task-controller.never-there"};
  return fault.severity == Severity::note && std::find(std::begin(kCodes), std::end(kCodes), fault.code) != std::end(kCodes);
}

void all_clear(Lines& lines, const Conclusions& all) {
  lines.push_back(anything_lost(all) ? "Nothing wrong was found in what could be read."
                    : is_slice(all)    ? "Nothing wrong was found in this slice. What takes longer to show is seen only in "
                                         "the whole recording."
                                       : "Nothing wrong was found on the bus.");
  std::size_t told = 0;
  for (const Fault& fault : all.faults)
    if (is_worth_knowing(fault) && ++told <= kBriefLines)
      lines.push_back(fmt::format("{}  {}", kWorthKnowing, fault.text));
}

}  // namespace

bool tells_of_damage(const std::string& line) {
  return line.starts_with(kDamaged) || line.starts_with(kMadeFromDamaged);
}

std::vector<std::string> answer_lines(const Report& report, const AnswerStyle& style) {
  const Conclusions& all = report.found;
  Lines lines = silence_answers(all, style.brief ? kBriefLines : all.silences.size(), style.findings);
  if (all.nothing_read()) {
    lines.push_back("The capture holds no CAN frame at all; nothing can be said of the machine.");
  } else if (all.rollcall) {
    entry_answers(lines, all, style);
    controller_answers(lines, all, style, true);
  } else {
    controller_answers(lines, all, style, false);
    if (all.controllers.empty())
      lines.push_back(
          "No controller claimed an address: the recording began after power-up, and nobody asked who is "
          "there. Who talks is known by address only.");
    else
      lines.push_back(
          fmt::format("{} claimed an address. Without a roster nobody can say which one is missing: see "
                      "tramlog roster learn.",
                      counted(all.controllers.size(), "controller", "controllers")));
  }
  std::size_t told = 0;
  for (const Dropout& d : all.dropouts)
    if (!d.controller && d.kind == DropoutKind::controller && (!style.brief || ++told <= kBriefLines))
      lines.push_back(fmt::format("{}  {}: last heard {}, silent for {}{}.", d.end ? "INTERMITTENT" : "LOST",
                                  voice_words(all, d.controller, d.address), mark_words(d.start),
                                  format_span(d.judged_until - d.start.time),
                                  d.end ? "" : " until the capture's end"));
  if (const SpanNs blind = blind_total(all); blind > 0)
    lines.push_back(fmt::format(
        "RECORDER BLIND  for {} in all: nothing is said of the machine for that time.", format_span(blind)));
  if (!all.damage.empty() || report.read_error)
    lines.push_back(fmt::format(
        "{}  {}; what could be read is reported.", kDamaged,
        damage_sum_words(damage_here(all), counted(all.damaged_bytes, "byte", "bytes") + " could not be read")));
  lost_before(lines, all);
  std::size_t faults = 0;
  std::size_t warnings = 0;
  for (const Fault& fault : all.faults) {
    faults += fault.severity == Severity::fault;
    warnings += fault.severity == Severity::warning;
  }
  if (faults + warnings > 0)
    lines.push_back(fmt::format("{} and {}{}.", counted(faults, "fault", "faults"),
                                counted(warnings, "warning", "warnings"), style.where));
  else if (!something_wrong(all) && !all.nothing_read())
    all_clear(lines, all);
  return lines;
}

}  // namespace tramlog
