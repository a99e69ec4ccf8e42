// The story's lines about trouble: each incident once, when it began; the recorder's own and the technician's
// notes. They say what happened; why it did is the finding's matter.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.hpp"
#include "exam/damage_words.hpp"
#include "exam/recorder_words.hpp"
#include "exam/story_parts.hpp"
#include "exam/words.hpp"

namespace tramlog::story {
namespace {

// Silences that begin this close together are one time.
constexpr SpanNs kOneTime = 2 * kSecond;
constexpr const char* kBlind = "recorder.blind";

/// What a fault's code says of {who} on {bus}, in a few words. Codes that are not here are told by the
/// beginning of the fault's own sentence.
struct Words {
  const char* code;
  const char* text;
  bool lasts = true;  // its end says something of the machine
};
constexpr Words kWords[] = {
    {"bus.error-frames", "errors on the wires of {bus}"},
    {"bus.error-passive", "the recorder's interface on {bus} goes error-passive"},
    {"bus.silent", "nothing is heard on {bus}"},
    {"capture.damaged", "part of the capture cannot be read", false},
    {"bus.off", "the recorder's interface on {bus} goes bus-off"},
    {"bus.one-talker-floods", "{who} floods {bus}"},
    {"bus.load-high", "{bus} is loaded highly"},
    {"position.frozen", "the position stands still while the machine drives"},
    {"speed.frozen", "a speed stands still while others move"},
    {"controller.restarted", "{who} starts again"},
    {"controller.restart-series", "{who} starts again and again"},
    {"controller.silent-after-claim", "{who} claims its address, then says nothing"},
    {"device.pool-refused", "the task controller refuses the description of {who}"},
    {"diagnostics.trouble-code", "{who} reports a trouble code"},
    {"message.pace", "{who} sends a message too slowly", false},
    {"network.address-contest", "{who} want one address"},
    {"network.cannot-claim", "{who} finds no address"},
    {"network.duplicate-name", "one NAME in use twice: {who}"},
    {"network.member-absent", "{who} announces somebody who never comes"},
    {"network.unclaimed", "somebody talks without an address claim"},
    {"process-data.refused", "{who} refuses a set value"},
    {"recorder.only-errors", "nothing but errors on {bus}"},
    {"request.unanswered", "{who} does not answer requests"},
    {"software.differs-among-equals", "different software on equal units", false},
    {"speed.source", "the speed source falls back"},
    {"speed.source-lost", "a speed source is lost"},
    {"supply.voltage-low", "low supply voltage at {who}"},
    {"supply.voltage-differs", "{who} measures less supply voltage than others"},
    {"supply.voltage-sags-at-cranking", "the supply voltage sags as the engine is started"},
    {"task-controller.lost", "the task controller is lost to its clients"},
    {"terminal.lost", "the terminal is lost to its clients"},
    {"transfer.failed", "a transfer from {who} fails"},
    {"transfer.series", "transfers from {who} fail again and again"},
};

const Words* words_of(const std::string& code) {
  const auto found = std::find_if(std::begin(kWords), std::end(kWords),
                                  [&](const Words& words) { return code == words.code; });
  return found == std::end(kWords) ? nullptr : found;
}

std::string replaced(std::string text, const std::string& what, const std::string& by) {
  const auto at = text.find(what);
  return at == std::string::npos ? text : text.replace(at, what.size(), by);
}

std::string bus_words(const Conclusions& all, std::optional<BusIndex> bus) {
  return bus && *bus < all.buses.size() ? printable_utf8(all.buses[*bus].name) : std::string("the bus");
}

/// Without what stands in parentheses, and without the full stop.
std::string plain(const std::string& sentence) {
  std::string text;
  int depth = 0;
  for (const char c : printable_utf8(sentence)) {
    if (c == '(') {
      if (depth++ == 0 && !text.empty() && text.back() == ' ') text.pop_back();
    } else if (c == ')' && depth > 0) {
      --depth;
    } else if (depth == 0) {
      text += c;
    }
  }
  while (!text.empty() && text.back() == '.') text.pop_back();
  return text;
}

constexpr const char* kTroubleCode = "diagnostics.trouble-code";

std::string fault_words(const Conclusions& all, const Fault& fault) {
  if (fault.dtc)
    if (const DtcRecord& dtc = all.dtcs[*fault.dtc]; dtc.controller)
      return fmt::format("{} reports trouble: SPN {}, FMI {}", name_of(all, *dtc.controller), dtc.dtc.spn,
                         dtc.dtc.fmi);
  if (const Words* words = words_of(fault.code)) {
    const std::string who =
        fault.controllers.empty() ? std::string("somebody") : names_of(all, fault.controllers);
    return replaced(replaced(words->text, "{bus}", bus_words(all, fault.bus)), "{who}", who);
  }
  return plain(fault.text);
}

/// A line that speaks of the whole recording began when its first proof was heard.
TimeNs begin_of(const Conclusions& all, const Fault& fault) {
  if (fault.start != all.start || fault.evidence.empty()) return fault.start;
  TimeNs first = fault.evidence.front().at.time;
  for (const Evidence& evidence : fault.evidence) first = std::min(first, evidence.at.time);
  return std::max(first, fault.start);
}

struct Tale {
  TimeNs time = 0;
  std::optional<TimeNs> until;
  std::vector<std::string> texts;
};

Tale silence_tale(const Conclusions& all, const Finding& finding) {
  std::vector<const Dropout*> list;
  for (const std::size_t d : finding.dropouts) list.push_back(&all.dropouts[d]);
  std::stable_sort(list.begin(), list.end(),
                   [](const Dropout* a, const Dropout* b) { return a->start.time < b->start.time; });
  Tale tale;
  tale.time = list.front()->start.time;
  std::vector<std::size_t> who;
  std::map<Address, int> nameless;
  bool whole = true, away = false, unsure = false, restarts = true;
  std::size_t times = 0;
  TimeNs latest = 0, first_until = tale.time, until = tale.time;
  for (const Dropout* d : list) {
    whole = whole && d->kind == DropoutKind::bus_silent;
    unsure = unsure || d->cause_unknown;
    away = away || !d->end;
    restarts = restarts && d->end && d->reclaimed;
    if (times == 0 || span_between(latest, d->start.time) > kOneTime) {
      ++times;
      latest = d->start.time;
    }
    if (times == 1) first_until = std::max(first_until, d->judged_until);
    until = std::max(until, d->judged_until);
    if (!d->controller)
      ++nameless[d->address];
    else if (std::find(who.begin(), who.end(), *d->controller) == who.end())
      who.push_back(*d->controller);
  }
  if (!away) tale.until = until;
  restarts = restarts && !whole;  // one word for all of a bus
  std::string subject;
  bool many = who.size() > 1;
  if (whole)
    subject = unsure ? "" : "all of " + bus_words(all, list.front()->bus);
  else if (!who.empty())
    subject = names_of(all, who);
  else
    subject = nameless.size() == 1 ? "address " + address_words(nameless.begin()->first)
                                   : fmt::format("{} addresses", nameless.size());
  if (!whole) many = many || (who.empty() && nameless.size() > 1);
  const bool each_once = who.size() > 1 && nameless.empty() && list.size() == who.size();
  const std::string how_often = times == 2 ? "twice" : fmt::format("{} times", times);
  const auto say = [&](const std::string& subjects, bool plural) {
    const std::string verb =
        restarts ? (plural ? " restart" : " restarts") : (plural ? " fall silent" : " falls silent");
    const std::string does =
        subjects.empty() ? "nothing is heard on " + bus_words(all, list.front()->bus) : subjects + verb;
    if (times > 1 && each_once && plural) {
      tale.texts.push_back(
          away ? does + " one after the other, not heard again"
               : fmt::format("{} one after the other {}", does, until_words(tale.time, until)));
    } else if (times > 1) {
      tale.texts.push_back(away ? fmt::format("{} {}, at last for good", does, how_often)
                                : fmt::format("{} {} {}", does, how_often, until_words(tale.time, until)));
      tale.texts.push_back(fmt::format("{} {}", does, how_often));
    } else if (away) {
      tale.texts.push_back(does + (subjects.empty() ? " until the end" : ", not heard again"));
    } else {
      tale.texts.push_back(fmt::format("{}{} for {}", does, restarts ? ", silent" : "",
                                       format_span(span_between(tale.time, first_until))));
    }
    return does;
  };
  std::string bare = say(subject, many && !whole);
  if (who.size() > 1 && !whole) bare = say(fmt::format("{} controllers", who.size()), true);
  tale.texts.push_back(std::move(bare));
  return tale;
}

Tale fault_tale(const Conclusions& all, const Finding& finding) {
  const Fault* main = nullptr;
  for (const std::size_t f : finding.faults)
    if (main == nullptr || all.faults[f].severity > main->severity ||
        (all.faults[f].severity == main->severity && all.faults[f].start < main->start))
      main = &all.faults[f];
  std::size_t times = 0;
  Tale tale;
  tale.time = begin_of(all, *main);
  bool open = false;
  TimeNs until = tale.time;
  for (const std::size_t f : finding.faults) {
    const Fault& fault = all.faults[f];
    if (fault.code != main->code) continue;
    ++times;
    tale.time = std::min(tale.time, begin_of(all, fault));
    open = open || !fault.end;
    until = std::max(until, fault.end.value_or(begin_of(all, fault)));
  }
  if (!open && until > tale.time) tale.until = until;
  const std::string text = fault_words(all, *main);
  const Words* words = words_of(main->code);
  const bool lasts = words == nullptr || words->lasts;
  if (times > 1)
    tale.texts.push_back(fmt::format("{}, {} times {}", text, times, until_words(tale.time, until)));
  else if (tale.until && lasts && span_between(tale.time, until) >= kSecond / 10)
    tale.texts.push_back(fmt::format("{}, for {}", text, format_span(span_between(tale.time, until))));
  tale.texts.push_back(text);
  return tale;
}

/// Who is missing is told in the finding's sentence, and by the roll call.
std::optional<Tale> missing_tale(const Day& day, const Finding& finding) {
  const Conclusions& all = day.all;
  if (!all.rollcall || !finding.dropouts.empty()) return std::nullopt;
  for (const std::size_t f : finding.faults)
    if (all.faults[f].code != "network.member-absent") return std::nullopt;
  std::vector<std::string> who;
  for (const RollcallEntry& entry : all.rollcall->entries)
    if (entry.state == EntryState::missing && !entry.label.empty() &&
        finding.text.find(entry.label) != std::string::npos)
      who.push_back(cut_to(printable_utf8(entry.label), 30));
  if (who.empty()) return std::nullopt;
  Tale tale;
  // When everybody else had come.
  tale.time = std::max(finding.start, all.start);
  for (const Happening& moment : day.moments)
    if (moment.line.phase == Phase::start_up && moment.importance == kStays)
      tale.time = std::max(tale.time, moment.line.until.value_or(moment.line.time));
  std::string names;
  for (std::size_t i = 0; i < who.size(); ++i)
    names += (i == 0 ? "" : i + 1 == who.size() ? " and " : ", ") + who[i];
  tale.texts = {fmt::format("{} {} never heard", names, who.size() == 1 ? "is" : "are")};
  if (who.size() > 1) tale.texts.push_back(fmt::format("{} controllers are never heard", who.size()));
  return tale;
}

bool is_only_blindness(const Conclusions& all, const Finding& finding) {
  return finding.dropouts.empty() && !finding.faults.empty() &&
         std::all_of(finding.faults.begin(), finding.faults.end(),
                     [&](std::size_t f) { return all.faults[f].code == kBlind; });
}

}  // namespace

void tell_trouble(Day& day) {
  const Conclusions& all = day.all;
  std::vector<bool> told(all.faults.size(), false);
  std::size_t incidents = 0;
  for (std::size_t i = 0; i < all.findings.size(); ++i) {
    const Finding& finding = all.findings[i];
    for (const auto* list : {&finding.faults, &finding.consequences})
      for (const std::size_t f : *list) told[f] = true;
    // A second cause of the same incident.
    if (i > 0 && all.findings[i - 1].incident == finding.incident) continue;
    const bool main = ++incidents <= kMainIncidents;
    if (is_only_blindness(all, finding)) continue;  // told as the recorder's
    Tale tale;
    if (auto missing = missing_tale(day, finding)) {
      tale = std::move(*missing);
    } else if (!finding.dropouts.empty()) {
      tale = silence_tale(all, finding);
    } else if (!finding.faults.empty()) {
      tale = fault_tale(all, finding);
    } else {
      tale = {std::max(finding.start, all.start), std::nullopt, {plain(finding.text)}};
    }
    Happening& line = day.add(Phase::trouble, tale.time, main ? kStays : kFinding,
                              main ? "" : "finding " + finding.cause, std::move(tale.texts));
    line.line.until = tale.until;
    line.line.finding = i;
  }
  // A series speaks for each of its failures.
  const bool series = std::any_of(all.faults.begin(), all.faults.end(),
                                  [](const Fault& fault) { return fault.code == "transfer.series"; });
  for (std::size_t f = 0; f < all.faults.size(); ++f) {
    const Fault& fault = all.faults[f];
    if (series && fault.code == "transfer.failed") continue;
    if (told[f] || fault.severity == Severity::note || fault.code == kBlind) continue;
    Happening& line =
        day.add(Phase::trouble, begin_of(all, fault), fault.severity == Severity::fault ? kFault : kWarning,
                "fault " + fault.code, {fault_words(all, fault)});
    if (fault.end && *fault.end > line.line.time) line.line.until = fault.end;
  }
}

namespace {

void tell_blindness(Day& day) {
  const Conclusions& all = day.all;
  std::map<TimeNs, std::size_t> findings;  // by the begin of the span
  bool main = false;
  std::size_t incidents = 0;
  for (std::size_t i = 0; i < all.findings.size(); ++i) {
    if (i == 0 || all.findings[i - 1].incident != all.findings[i].incident) ++incidents;
    for (const std::size_t f : all.findings[i].faults)
      if (all.faults[f].code == kBlind) findings.emplace(all.faults[f].start, i);
    main = main || (incidents <= kMainIncidents && is_only_blindness(all, all.findings[i]));
  }
  std::vector<BlindSpan> spans;
  for (const BusSummary& bus : all.buses)
    for (const BlindSpan& span : bus.blind)
      if (span.end > span.start && span.kind != Deafness::left_out) spans.push_back(span);
  std::stable_sort(spans.begin(), spans.end(),
                   [](const BlindSpan& a, const BlindSpan& b) { return a.start < b.start; });
  std::vector<BlindSpan> apart;  // blind on several buses at a time is one time
  for (const BlindSpan& span : spans) {
    if (apart.empty() || span.start > apart.back().end) {
      apart.push_back(span);
      continue;
    }
    BlindSpan& same = apart.back();
    same.end = std::max(same.end, span.end);
    if (same.kind == Deafness::frames_lost && span.kind == Deafness::damaged) {
      same.kind = span.kind;
      same.reason = span.reason;
    }
  }
  for (std::size_t i = 0; i < apart.size(); ++i) {
    const BlindSpan& span = apart[i];
    const char* does = span.kind == Deafness::damaged ? "the recording cannot be read"
                       : span.frames_lost             ? "the recorder does not hear all"
                                                      : "the recorder is blind";
    const std::string length =
        fmt::format("{} for {}", does, format_span(span_between(span.start, span.end)));
    Happening& line = day.add(Phase::recorder, span.start, i == 0 && main ? kStays : kRecorder,
                              span.kind == Deafness::damaged ? "unreadable" : "blind",
                              {length + ": " + printable_utf8(span.reason), length, does});
    line.line.until = span.end;
    if (const auto finding = findings.find(span.start); finding != findings.end())
      line.line.finding = finding->second;
  }
}

}  // namespace

void tell_recorder(Day& day) {
  tell_blindness(day);
  for (const DamageTally& tally : {damage_here(day.all), damage_before(day.all)})
    if (tally.ends > 0)
      day.add(Phase::recorder, tally.last_end, kStays, "breaks-off",
              {"the recording breaks off; what came after is not known", "the recording breaks off"});
  const RecorderRecord& recorder = day.all.recorder;
  for (std::size_t i = 1; i < recorder.runs.size(); ++i) {
    const RecorderRun& run = recorder.runs[i];
    day.add(
        Phase::recorder, run.begin, kRecorder, "run",
        {fmt::format("the recorder starts again{}", recorder.runs[i - 1].end ? "" : "; it had been cut off"),
         "the recorder starts again"});
  }
  for (const ClockStepBack& step : day.seen.clock_steps)
    day.add(Phase::recorder, step.at.time, kWarning, "clock",
            goes_back_to_a_hole(day.all, step.at.time)
                ? std::vector<std::string>{"blocks of the file are in the wrong order"}
                : std::vector<std::string>{
                      fmt::format("the recorder's clock is put back by {}", format_span(step.back)),
                      "the recorder's clock is put back"});
  for (const RecordedNote& noted : recorder.notes) {
    if (noted.note.kind == RecorderNote::Kind::mark) {
      std::string words = printable_utf8(noted.note.text);
      day.add(Phase::mark, noted.time, kMark, "mark", {fmt::format("note: {}", words)});
    } else if (noted.note.kind == RecorderNote::Kind::cut) {
      // Of the first part the head tells.
      if (noted.time > day.all.start)
        day.add(Phase::recorder, noted.time, kStays, "cut", {"the next part of the slice begins"});
    } else {
      day.add(Phase::recorder, noted.time, kAside, note_code(noted.note.kind), {note_words(noted.note)});
    }
  }
}

}  // namespace tramlog::story
