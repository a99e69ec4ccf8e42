// Dropouts, trouble codes, faults and findings, gained and cured: as rates, so that recordings of unequal
// length compare.
#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "compare/desk.hpp"
#include "exam/words.hpp"
#include "report/code_words.hpp"

namespace tramlog {
namespace {

// What a machine has in every recording or in none: settings, software, who is there.
Recurs recurs(const std::string& code) {
  for (const char* topic : {"software.", "device.", "units.", "network.", "controller.not-on-bus",
                            "controller.software", "controller.identity", "task-controller.never"})
    if (code.starts_with(topic)) return Recurs::always;
  return Recurs::now_and_then;
}

struct Tally {
  double before = 0, after = 0;
  double before_s = 0, after_s = 0;  // time in all
  bool open_before = false, open_after = false;
  double before_in = 0, after_in = 0;           // of them explained by findings that one side has alone
  std::optional<std::size_t> cured_by, gained;  // the first of those: Told
};

// A finding that one side has alone: where it is written. It may have found no room there.
struct Told {
  std::optional<std::size_t> line;
  std::string too_short;  // words, unless what it explains proves more
};
struct Explained {
  std::vector<Told> findings;
  std::map<std::size_t, std::size_t> dropouts_before, dropouts_after, faults_before,
      faults_after;  // place -> finding
};

void count_explained(Tally& tally, const std::map<std::size_t, std::size_t>& explained, std::size_t place,
                     bool of_after) {
  const auto found = explained.find(place);
  if (found == explained.end()) return;
  (of_after ? tally.after_in : tally.before_in) += 1;
  auto& by = of_after ? tally.gained : tally.cured_by;
  if (!by) by = found->second;
}

// Which finding tells of it: the counts differ, and without what that finding explains they would not.
std::optional<std::size_t> home_of(const CompareDesk& desk, const Explained& explained, const Tally& tally,
                                   Recurs kind) {
  const double hours_before = desk.before.heard_h, hours_after = desk.after.heard_h;
  const bool rose = hours_before > 0 && hours_after > 0
                        ? tally.after / hours_after > tally.before / hours_before
                        : tally.after > tally.before;
  const auto& home = rose ? tally.gained : tally.cured_by;
  if (!home || !explained.findings[*home].line) return std::nullopt;
  const bool differs = judge_events({tally.before, hours_before}, {tally.after, hours_after}, kind).differs;
  const bool without = judge_events({tally.before - tally.before_in, hours_before},
                                    {tally.after - tally.after_in, hours_after}, kind)
                           .differs;
  return differs && !without ? home : std::nullopt;
}

// The line that was just said is counted in that of the finding, which is as sure as the surest in it.
void count_in(CompareDesk& desk, const Told& told) {
  ChangeLine part = std::move(desk.out.lines.back());
  desk.out.lines.pop_back();
  ChangeLine& line = desk.out.lines[*told.line];
  if (line.too_short && !part.too_short && (part.change == Change::worse || part.change == Change::better)) {
    line.change = part.change;
    line.too_short = false;
  }
  line.counted.push_back(std::move(part));
}

// "after only: 2 in 31.0 s, none in 1 min 02 s before"; swapped sides give the same words but for before and
// after.
std::string counts_words(const CompareDesk& desk, const Tally& tally) {
  const std::string was = events_words({tally.before, desk.before.heard_h}),
                    is = events_words({tally.after, desk.after.heard_h});
  if (tally.before == 0) return fmt::format("after only: {}, {} before", is, was);
  if (tally.after == 0) return fmt::format("before only: {}, {} after", was, is);
  return fmt::format("{} before, {} after", was, is);
}

// Says it if the counts differ by more than chance.
void say_counts(CompareDesk& desk, const Tally& tally, ChangeLine line) {
  ++desk.out.compared;
  const Judgement found =
      judge_events({tally.before, desk.before.heard_h}, {tally.after, desk.after.heard_h}, recurs(line.code));
  if (!found.differs) {
    desk.out.within_noise += tally.before != tally.after;
    return;
  }
  line.change = of_recorder(line.code) ? Change::other : found.change;
  line.too_short = found.too_short;
  line.before = tally.before;
  line.after = tally.after;
  line.text += counts_words(desk, tally);
  line.text += too_short_words(found);
  desk.say(std::move(line));
}

std::string code_of(const char* stem, const Tally& tally) {
  return std::string(stem) + (tally.before == 0 ? ".gained" : tally.after == 0 ? ".cured" : ".rate");
}

void silence_share(CompareDesk& desk, std::size_t party, const Tally& tally) {
  if (tally.before == 0 || tally.after == 0 || desk.before.heard_h <= 0 || desk.after.heard_h <= 0) return;
  const double was = 100 * tally.before_s / (desk.before.heard_h * 3600),
               is = 100 * tally.after_s / (desk.after.heard_h * 3600);
  if (std::max(was, is) < noise::kSilenceRatio * std::min(was, is) ||
      std::max(was, is) - std::min(was, is) < noise::kSilencePoints)
    return;
  desk.say({is > was ? Change::worse : Change::better,
            "dropout.time",
            "dropouts",
            desk.parties.all[party].words,
            fmt::format("silent for {:.1f} % of the time before, {:.1f} % after", was, is),
            was,
            is,
            "%",
            false,
            {}});
}

void dropouts(CompareDesk& desk, const Explained& explained) {
  std::map<std::size_t, Tally> tallies;
  for (const DropoutFacts& d : desk.before.dropouts) {
    Tally& tally = tallies[party_of(desk.parties, d.voice, false)];
    tally.before += 1;
    tally.before_s += d.seconds;
    tally.open_before |= d.open;
    count_explained(tally, explained.dropouts_before, d.place, false);
  }
  for (const DropoutFacts& d : desk.after.dropouts) {
    Tally& tally = tallies[party_of(desk.parties, d.voice, true)];
    tally.after += 1;
    tally.after_s += d.seconds;
    tally.open_after |= d.open;
    count_explained(tally, explained.dropouts_after, d.place, true);
  }
  for (const auto& [party, tally] : tallies) {
    ChangeLine line;
    line.code = code_of("dropout", tally);
    line.topic = "dropouts";
    line.subject = desk.parties.all[party].words;
    line.text = "dropouts ";
    const std::size_t told = desk.out.lines.size();
    say_counts(desk, tally, std::move(line));
    if (desk.out.lines.size() > told) {
      std::string& text = desk.out.lines.back().text;
      if (tally.before > 0)
        text += fmt::format("; before silent for {} in all{}", span_words(tally.before_s),
                            tally.open_before ? ", to the end" : "");
      if (tally.after > 0)
        text += fmt::format("; after silent for {} in all{}", span_words(tally.after_s),
                            tally.open_after ? ", to the end" : "");
    } else {
      silence_share(desk, party, tally);
      continue;
    }
    if (const auto home = home_of(desk, explained, tally, Recurs::now_and_then))
      count_in(desk, explained.findings[*home]);
  }
}

void trouble_codes(CompareDesk& desk) {
  std::map<std::tuple<std::size_t, unsigned, unsigned>, std::pair<Tally, std::string>> tallies;
  const auto take = [&](const SideFacts& side, bool of_after) {
    for (const TroubleCodeFacts& code : side.codes) {
      auto& [tally, words] = tallies[{party_of(desk.parties, code.voice, of_after), code.spn, code.fmi}];
      (of_after ? tally.after : tally.before) += code.activations;
      if (words.empty()) words = code.words;
    }
  };
  take(desk.before, false);
  take(desk.after, true);
  for (const auto& [key, counted] : tallies) {
    ChangeLine line;
    line.code = code_of("trouble-code", counted.first);
    line.topic = "trouble codes";
    line.subject = desk.parties.all[std::get<0>(key)].words;
    line.text = fmt::format("{} ", counted.second);
    say_counts(desk, counted.first, std::move(line));
  }
}

// Of one code the controllers with the same counts are one line.
void faults(CompareDesk& desk, const Explained& explained) {
  std::map<std::pair<std::string, std::size_t>, Tally> of_parties;  // SIZE_MAX: of nobody
  std::map<std::pair<std::string, std::size_t>, std::string> sentences;
  const auto take = [&](const SideFacts& side, bool of_after) {
    for (const FaultFacts& fault : side.faults) {
      if (fault.code == "diagnostics.trouble-code") continue;  // told by the code itself
      for (const std::size_t party : parties_in(desk, fault, of_after)) {
        Tally& tally = of_parties[{fault.code, party}];
        (of_after ? tally.after : tally.before) += 1;
        count_explained(tally, of_after ? explained.faults_after : explained.faults_before, fault.place,
                        of_after);
        sentences.try_emplace({fault.code, party}, fault.text);
      }
    }
  };
  take(desk.before, false);
  take(desk.after, true);
  constexpr std::size_t kOwnLine = SIZE_MAX;
  std::map<std::tuple<std::string, double, double, bool, std::size_t>, std::vector<std::size_t>> alike;
  for (const auto& [key, tally] : of_parties) {
    const std::size_t home = home_of(desk, explained, tally, recurs(key.first)).value_or(kOwnLine);
    alike[{key.first, tally.before, tally.after, key.second == SIZE_MAX, home}].push_back(key.second);
  }
  for (const auto& [key, parties] : alike) {
    const auto& [code, before, after, nobody, home] = key;
    Tally tally;
    tally.before = before;
    tally.after = after;
    ChangeLine line;
    line.code = code;
    line.topic = "faults";
    line.subject = nobody ? "" : parties_words(desk.parties, parties);
    line.text = fmt::format("{} {}", code_heading(code, ""), parties.size() > 1 ? "each " : "");
    const std::size_t told = desk.out.lines.size();
    say_counts(desk, tally, std::move(line));
    if (desk.out.lines.size() == told) continue;
    if (before == 0 || after == 0) desk.out.lines.back().text += ": " + sentences[{code, parties.front()}];
    if (home != kOwnLine) count_in(desk, explained.findings[home]);
  }
}

std::set<std::size_t> parties_of(CompareDesk& desk, const FindingFacts& finding, bool of_after) {
  std::set<std::size_t> parties;
  for (const std::size_t c : finding.controllers) parties.insert(party_of(desk.parties, {c, 0}, of_after));
  return parties;
}

using Causes =
    std::map<std::string, std::pair<bool, std::set<std::size_t>>>;  // cause -> without controllers, whom

Causes causes_of(CompareDesk& desk, const SideFacts& side, bool of_after) {
  Causes all;
  for (const FindingFacts& finding : side.findings) {
    const std::set<std::size_t> who = parties_of(desk, finding, of_after);
    const auto add = [&](const std::string& cause) {
      auto& [nobody, whom] = all[cause];
      nobody |= who.empty();
      whom.insert(who.begin(), who.end());
    };
    add(finding.cause);
    for (const FindingFacts::Rival& rival : finding.rivals) add(rival.cause);
  }
  return all;
}

bool is_among(const Causes& others, const std::string& cause, const std::set<std::size_t>& who) {
  const auto found = others.find(cause);
  if (found == others.end()) return false;
  const auto& [nobody, whom] = found->second;
  return (who.empty() && nobody) ||
         std::any_of(who.begin(), who.end(), [&](std::size_t w) { return whom.count(w) > 0; });
}

std::string finding_text(const FindingFacts& finding, bool gained) {
  std::string text =
      fmt::format("{} only: ({}) {}", gained ? "after" : "before", finding.confidence, finding.text);
  for (const FindingFacts::Rival& rival : finding.rivals) {
    while (text.ends_with('.')) text.pop_back();
    text += fmt::format("; or else ({}) {}", rival.confidence, code_heading(rival.cause, ""));
  }
  return text;
}

// An incident is there on the other side, too, if one of its causes speaks there of one of its controllers.
Explained findings(CompareDesk& desk) {
  Explained explained;
  const Causes of_before = causes_of(desk, desk.before, false), of_after = causes_of(desk, desk.after, true);
  const auto look = [&](const SideFacts& side, const Causes& others, bool gained) {
    for (const FindingFacts& finding : side.findings) {
      ++desk.out.compared;
      const std::set<std::size_t> who = parties_of(desk, finding, gained);
      if (is_among(others, finding.cause, who) ||
          std::any_of(finding.rivals.begin(), finding.rivals.end(),
                      [&](const FindingFacts::Rival& rival) { return is_among(others, rival.cause, who); }))
        continue;
      const Judgement judged = judge_events({gained ? 0.0 : 1.0, desk.before.heard_h},
                                            {gained ? 1.0 : 0.0, desk.after.heard_h}, recurs(finding.cause));
      ChangeLine line;
      line.change = of_recorder(finding.cause) ? Change::other : judged.change;
      line.too_short = judged.too_short;
      line.code = gained ? "finding.gained" : "finding.cured";
      line.topic = "findings";
      line.subject = code_heading(finding.cause, "");
      line.text = finding_text(finding, gained);
      const std::size_t at = desk.out.lines.size(), number = explained.findings.size();
      desk.say(std::move(line));
      explained.findings.push_back(
          {desk.out.lines.size() > at ? std::optional(at) : std::nullopt, too_short_words(judged)});
      for (const std::size_t place : finding.dropouts)
        (gained ? explained.dropouts_after : explained.dropouts_before).emplace(place, number);
      for (const std::size_t place : finding.faults) {
        (gained ? explained.faults_after : explained.faults_before).emplace(place, number);
        (gained ? desk.told_after : desk.told_before).insert(place);
      }
    }
  };
  look(desk.before, of_after, false);
  look(desk.after, of_before, true);
  return explained;
}

// "2 dropouts of metering front", "3 times starts again [controller.restart] (metering front)".
std::string counted_words(const ChangeLine& part) {
  const double before = part.before.value_or(0), after = part.after.value_or(0);
  if (part.topic != "dropouts")
    return code_words(part.code) + (part.subject.empty() ? "" : " (" + part.subject + ")");
  if (before > 0 && after > 0)
    return fmt::format("dropouts of {}, {:.0f} before and {:.0f} after", part.subject, before, after);
  return fmt::format("{} of {}", counted(static_cast<std::size_t>(before + after), "dropout", "dropouts"),
                     part.subject);
}

// What is only known when everything was counted.
void finish_findings(CompareDesk& desk, const Explained& explained) {
  constexpr std::size_t kNamed = 6;
  for (const Told& told : explained.findings) {
    if (!told.line) continue;
    ChangeLine& line = desk.out.lines[*told.line];
    std::string more;
    for (std::size_t i = 0; i < line.counted.size() && i < kNamed; ++i)
      more += (i == 0 ? "; counted in it: " : ", ") + counted_words(line.counted[i]);
    if (line.counted.size() > kNamed) more += fmt::format(" and {} more", line.counted.size() - kNamed);
    if (line.too_short) more += told.too_short;
    if (more.empty()) continue;
    while (line.text.ends_with('.')) line.text.pop_back();
    line.text += more;
  }
}

}  // namespace

bool of_recorder(const std::string& code) {
  return code.starts_with("recorder.") || code.starts_with("capture.") || code.starts_with("examiner.");
}

std::vector<std::size_t> parties_in(CompareDesk& desk, const FaultFacts& fault, bool of_after) {
  std::vector<std::size_t> who;
  for (const std::size_t c : fault.controllers) who.push_back(party_of(desk.parties, {c, 0}, of_after));
  if (who.empty()) who.push_back(SIZE_MAX);
  std::sort(who.begin(), who.end());
  who.erase(std::unique(who.begin(), who.end()), who.end());
  return who;
}

void compare_trouble(CompareDesk& desk) {
  const Explained explained = findings(desk);
  dropouts(desk, explained);
  trouble_codes(desk);
  faults(desk, explained);
  finish_findings(desk, explained);
}

}  // namespace tramlog
