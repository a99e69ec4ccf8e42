// Notes that came or went: a message that stopped for good, a unit with another identity. Nothing of it is
// wrong, but it was not so on the other side.
#include <fmt/format.h>

#include <algorithm>

#include "compare/desk.hpp"
#include "exam/words.hpp"
#include "report/code_words.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMostCodes = 6;  // notes are not what a comparison is made for

// How a recording ended, whom nobody asked for software, and figures that are compared as such (load, error
// frames, trouble codes).
bool says_nothing(const std::string& code) {
  for (const char* topic :
       {"machine.", "bus.load", "bus.error-frames", "controller.software-unknown", "diagnostics."})
    if (code.starts_with(topic)) return true;
  return of_recorder(code);
}

struct Noted {
  double before = 0, after = 0;
  std::string text;  // of the first
};

}  // namespace

void compare_notes(CompareDesk& desk) {
  std::map<std::string, std::map<std::size_t, Noted>> codes;
  const auto take = [&](const SideFacts& side, const std::set<std::size_t>& told, bool of_after) {
    for (const FaultFacts& note : side.notes) {
      if (says_nothing(note.code) || told.count(note.place) > 0) continue;
      for (const std::size_t party : parties_in(desk, note, of_after)) {
        Noted& noted = codes[note.code][party];
        (of_after ? noted.after : noted.before) += 1;
        if (noted.text.empty()) noted.text = note.text;
      }
    }
  };
  take(desk.before, desk.told_before, false);
  take(desk.after, desk.told_after, true);
  std::size_t told = 0, more = 0;
  for (const auto& [code, parties] : codes) {
    bool any = false;
    desk.out.compared += parties.size();
    for (const bool came : {false, true}) {
      std::vector<std::size_t> who;
      double times = 0;
      std::string text;
      for (const auto& [party, noted] : parties) {
        if ((came ? noted.before : noted.after) > 0) continue;
        times += came ? noted.after : noted.before;
        if (text.empty()) text = noted.text;
        who.push_back(party);
      }
      if (who.empty()) continue;
      any = true;
      if (told >= kMostCodes) {
        ++more;
        continue;
      }
      ChangeLine line;
      line.change = Change::noted;
      line.code = code;
      line.topic = "notes";
      if (who.back() != SIZE_MAX) line.subject = parties_words(desk.parties, who);
      line.text = fmt::format("{}, {} only: {}", code_heading(code, ""), came ? "after" : "before", text);
      line.before = came ? 0 : times;
      line.after = came ? times : 0;
      desk.say(std::move(line));
    }
    told += any;
  }
  if (more > 0)
    desk.say(
        {Change::noted,
         "note.more",
         "notes",
         "",
         fmt::format("{} in the reports", counted(more, "more such note stands", "more such notes stand")),
         std::nullopt,
         std::nullopt,
         "",
         false,
         {}});
}

}  // namespace tramlog
