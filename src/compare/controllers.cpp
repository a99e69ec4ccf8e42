// Controllers gone, new, replaced; their addresses, software and parts; and what the roster says of them.
#include <fmt/format.h>

#include <algorithm>

#include "compare/desk.hpp"
#include "report/sentences.hpp"

namespace tramlog {
namespace {

void one_side(CompareDesk& desk, const ComparedParty& party) {
  const bool gone = party.before.has_value();
  const ControllerFacts& one =
      gone ? desk.before.controllers[*party.before] : desk.after.controllers[*party.after];
  ChangeLine line;
  line.topic = "controllers";
  line.code = gone ? "controller.gone" : "controller.new";
  line.subject = party.words;
  // Whoever the roster names should be there; a stranger that comes is neither good nor bad.
  line.change = gone ? Change::worse : one.label.empty() ? Change::other : Change::better;
  line.text = gone ? fmt::format("was there before and is not on the bus any more (NAME {})", one.name.hex())
                   : fmt::format("is on the bus and was not there before (NAME {})", one.name.hex());
  // Where it could not be known it is neither gone nor new.
  const SideFacts& other = gone ? desk.after : desk.before;
  const char* why = nullptr;
  if (other.summary.heard_s <= 0)
    why = "there nothing was heard that could tell";
  else if (one.address && other.nameless.count(*one.address) > 0)
    why = "there its address talked, and nobody asked who it is";
  else if (other.sliced)
    why = "there is only a slice of the recording";
  if (why != nullptr) {
    line.change = Change::other;
    line.text = fmt::format("known {} only (NAME {}): {}", gone ? "before" : "after", one.name.hex(), why);
  }
  desk.say(std::move(line));
}

void changed(CompareDesk& desk, const ComparedParty& party, const char* code, std::string text) {
  desk.say({Change::other, code, "controllers", party.words, std::move(text), std::nullopt, std::nullopt, "",
            false, {}});
}

void both_sides(CompareDesk& desk, const ComparedParty& party) {
  const ControllerFacts& was = desk.before.controllers[*party.before];
  const ControllerFacts& is = desk.after.controllers[*party.after];
  ++desk.out.compared;
  if (party.replaced)
    changed(desk, party, "controller.replaced",
            fmt::format("another unit does the same job: identity number {} before, {} after",
                        was.name.identity_number(), is.name.identity_number()));
  if (was.address && is.address && *was.address != *is.address)
    changed(desk, party, "controller.address",
            fmt::format("address {} before, {} after", *was.address, *is.address));
  // Software and parts are told only when somebody asks for them.
  if (!was.software.empty() && !is.software.empty() && was.software != is.software)
    changed(desk, party, "controller.software",
            fmt::format("software \"{}\" before, \"{}\" after", joined(was.software), joined(is.software)));
  for (const auto& [what, text] : was.parts) {
    const auto found = is.parts.find(what);
    if (found != is.parts.end() && found->second != text)
      changed(desk, party, "controller.part",
              fmt::format("{} \"{}\" before, \"{}\" after", what, text, found->second));
  }
  if (desk.numbers_compare() && !was.product_code.empty() && !is.product_code.empty() &&
      was.product_code != is.product_code)
    changed(desk, party, "controller.part",
            fmt::format("product code \"{}\" before, \"{}\" after", was.product_code, is.product_code));
  const bool was_refused = was.state == "refused", is_refused = is.state == "refused";
  if (was_refused != is_refused)
    desk.say(
        {is_refused ? Change::worse : Change::better,
         "controller.refused",
         "controllers",
         party.words,
         is_refused ? "cannot claim an address any more" : "could not claim an address before and can now",
         std::nullopt,
         std::nullopt,
         "",
         false,
         {}});
}

// Only what a recording's length does not decide: missing, wrong software.
int badness(const EntryFacts& entry) {
  if (entry.state == "missing") return entry.required ? 2 : 0;
  return entry.state == "wrong-software" ? 1 : 0;
}

void rosters(CompareDesk& desk) {
  if (!desk.before.has_roster || !desk.after.has_roster) return;
  std::map<std::string, const EntryFacts*> entries;
  for (const EntryFacts& entry : desk.before.entries) entries.emplace(entry.label, &entry);
  for (const EntryFacts& entry : desk.after.entries) {
    const auto found = entries.find(entry.label);
    if (found == entries.end() || entry.label.empty()) continue;
    ++desk.out.compared;
    const int was = badness(*found->second), is = badness(entry);
    if (was == is) continue;
    desk.say({is > was ? Change::worse : Change::better,
              "roster.state",
              "controllers",
              entry.label,
              fmt::format("in the roll call {} before, {} after", found->second->state, entry.state),
              std::nullopt,
              std::nullopt,
              "",
              false,
              {}});
  }
}

}  // namespace

void compare_controllers(CompareDesk& desk) {
  for (const ComparedParty& party : desk.parties.all) {
    if (party.before && party.after)
      both_sides(desk, party);
    else if (party.before || party.after)
      one_side(desk, party);
  }
  rosters(desk);
}

}  // namespace tramlog
