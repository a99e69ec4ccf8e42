// Dropouts, trouble codes, faults and findings, gained and cured: as rates, so that recordings of unequal
// length compare.
#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "compare/desk.hpp"
#include "report/code_words.hpp"

namespace tramlog {
namespace {

// What is about the recorder or the capture says nothing of the machine.
bool of_recorder(const std::string& code) {
  return code.starts_with("recorder.") || code.starts_with("capture.") || code.starts_with("examiner.");
}

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
};

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
  desk.say(
      {is > was ? Change::worse : Change::better, "dropout.time", "dropouts", desk.parties.all[party].words,
       fmt::format("silent for {:.1f} % of the time before, {:.1f} % after", was, is), was, is, "%", false});
}

void dropouts(CompareDesk& desk) {
  std::map<std::size_t, Tally> tallies;
  for (const DropoutFacts& d : desk.before.dropouts) {
    Tally& tally = tallies[party_of(desk.parties, d.voice, false)];
    tally.before += 1;
    tally.before_s += d.seconds;
    tally.open_before |= d.open;
  }
  for (const DropoutFacts& d : desk.after.dropouts) {
    Tally& tally = tallies[party_of(desk.parties, d.voice, true)];
    tally.after += 1;
    tally.after_s += d.seconds;
    tally.open_after |= d.open;
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
    }
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
void faults(CompareDesk& desk) {
  std::map<std::pair<std::string, std::size_t>, Tally> of_parties;  // SIZE_MAX: of nobody
  std::map<std::pair<std::string, std::size_t>, std::string> sentences;
  const auto take = [&](const SideFacts& side, bool of_after) {
    for (const FaultFacts& fault : side.faults) {
      if (fault.code == "diagnostics.trouble-code") continue;  // told by the code itself
      std::vector<std::size_t> who;
      for (const std::size_t c : fault.controllers) who.push_back(party_of(desk.parties, {c, 0}, of_after));
      if (who.empty()) who.push_back(SIZE_MAX);
      std::sort(who.begin(), who.end());
      who.erase(std::unique(who.begin(), who.end()), who.end());
      for (const std::size_t party : who) {
        Tally& tally = of_parties[{fault.code, party}];
        (of_after ? tally.after : tally.before) += 1;
        sentences.try_emplace({fault.code, party}, fault.text);
      }
    }
  };
  take(desk.before, false);
  take(desk.after, true);
  std::map<std::tuple<std::string, double, double, bool>, std::vector<std::size_t>> alike;
  for (const auto& [key, tally] : of_parties)
    alike[{key.first, tally.before, tally.after, key.second == SIZE_MAX}].push_back(key.second);
  for (const auto& [key, parties] : alike) {
    const auto& [code, before, after, nobody] = key;
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
    if (desk.out.lines.size() > told && (before == 0 || after == 0))
      desk.out.lines.back().text += ": " + sentences[{code, parties.front()}];
  }
}

std::set<std::size_t> parties_of(CompareDesk& desk, const FindingFacts& finding, bool of_after) {
  std::set<std::size_t> parties;
  for (const std::size_t c : finding.controllers) parties.insert(party_of(desk.parties, {c, 0}, of_after));
  return parties;
}

// A finding is there on the other side, too, if one of the same cause speaks of one of its controllers.
void findings(CompareDesk& desk) {
  using Known =
      std::map<std::string, std::pair<bool, std::set<std::size_t>>>;  // cause -> without controllers, whom
  const auto known = [&](const SideFacts& side, bool of_after) {
    Known all;
    for (const FindingFacts& finding : side.findings) {
      const std::set<std::size_t> who = parties_of(desk, finding, of_after);
      auto& [nobody, whom] = all[finding.cause];
      nobody |= who.empty();
      whom.insert(who.begin(), who.end());
    }
    return all;
  };
  const Known of_before = known(desk.before, false), of_after = known(desk.after, true);
  const auto look = [&](const SideFacts& side, const Known& others, bool gained) {
    for (const FindingFacts& finding : side.findings) {
      ++desk.out.compared;
      const std::set<std::size_t> who = parties_of(desk, finding, gained);
      const auto found = others.find(finding.cause);
      if (found != others.end()) {
        const auto& [nobody, whom] = found->second;
        if ((who.empty() && nobody) ||
            std::any_of(who.begin(), who.end(), [&](std::size_t w) { return whom.count(w) > 0; }))
          continue;
      }
      const Judgement judged = judge_events({gained ? 0.0 : 1.0, desk.before.heard_h},
                                            {gained ? 1.0 : 0.0, desk.after.heard_h}, recurs(finding.cause));
      ChangeLine line;
      line.change = of_recorder(finding.cause) ? Change::other : judged.change;
      line.too_short = judged.too_short;
      line.code = gained ? "finding.gained" : "finding.cured";
      line.topic = "findings";
      line.subject = code_heading(finding.cause, "");
      line.text =
          fmt::format("{} only: ({}) {}", gained ? "after" : "before", finding.confidence, finding.text);
      if (judged.too_short) {
        while (line.text.ends_with('.')) line.text.pop_back();
        line.text += too_short_words(judged);
      }
      desk.say(std::move(line));
    }
  };
  look(desk.before, of_after, false);
  look(desk.after, of_before, true);
}

}  // namespace

void compare_trouble(CompareDesk& desk) {
  findings(desk);
  dropouts(desk);
  trouble_codes(desk);
  faults(desk);
}

}  // namespace tramlog
