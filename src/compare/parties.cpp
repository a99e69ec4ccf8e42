#include "compare/parties.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "can/can_id.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kNamed = 6;
constexpr std::uint64_t kJobBits = 0x7FFFFFFFFFE00000ull;  // Name::same_job

std::string words_of(const ControllerFacts& one) {
  if (!one.label.empty()) return one.label;
  return one.address && *one.address <= 0xFD
             ? fmt::format("{} (address {}, 0x{:02X})", one.term, *one.address, *one.address)
             : fmt::format("{} (NAME {})", one.term, one.name.hex());
}

}  // namespace

ComparedParties find_parties(const SideFacts& before, const SideFacts& after) {
  ComparedParties parties;
  constexpr std::size_t kNone = SIZE_MAX;
  parties.of_before.assign(before.controllers.size(), kNone);
  parties.of_after.assign(after.controllers.size(), kNone);
  const bool numbers = !before.summary.is_private && !after.summary.is_private;
  const auto pair_up = [&](std::uint64_t bits, bool by_address) {
    const auto key = [&](const ControllerFacts& one) {
      return std::pair(one.name.raw() & bits, by_address ? one.address.value_or(kNullAddress) : 0u);
    };
    std::multimap<std::pair<std::uint64_t, unsigned>, std::size_t> free;
    for (std::size_t a = 0; a < after.controllers.size(); ++a)
      if (parties.of_after[a] == kNone) free.emplace(key(after.controllers[a]), a);
    for (std::size_t b = 0; b < before.controllers.size(); ++b) {
      if (parties.of_before[b] != kNone) continue;
      const auto found = free.find(key(before.controllers[b]));
      if (found == free.end()) continue;
      const std::size_t a = found->second;
      free.erase(found);
      parties.of_before[b] = parties.of_after[a] = parties.all.size();
      ComparedParty party;
      party.before = b;
      party.after = a;
      party.replaced = numbers && before.controllers[b].name != after.controllers[a].name;
      parties.all.push_back(std::move(party));
    }
  };
  if (numbers)
    pair_up(~0ull, false);
  else
    pair_up(kJobBits, true);
  pair_up(kJobBits, false);
  const auto add_rest = [&](std::vector<std::size_t>& of, bool is_after) {
    for (std::size_t i = 0; i < of.size(); ++i) {
      if (of[i] != kNone) continue;
      of[i] = parties.all.size();
      ComparedParty party;
      (is_after ? party.after : party.before) = i;
      parties.all.push_back(std::move(party));
    }
  };
  add_rest(parties.of_before, false);
  add_rest(parties.of_after, true);
  for (ComparedParty& party : parties.all) {
    // The side that has a label names it.
    const ControllerFacts* b = party.before ? &before.controllers[*party.before] : nullptr;
    const ControllerFacts* a = party.after ? &after.controllers[*party.after] : nullptr;
    party.words = words_of(b == nullptr || (a != nullptr && b->label.empty() && !a->label.empty()) ? *a : *b);
  }
  return parties;
}

std::size_t party_of(ComparedParties& parties, const Voice& voice, bool of_after) {
  if (voice.controller) return (of_after ? parties.of_after : parties.of_before)[*voice.controller];
  for (std::size_t i = parties.all.size(); i-- > 0 && parties.all[i].address;)  // they stand last
    if (parties.all[i].address == voice.address) return i;
  ComparedParty party;
  party.address = voice.address;
  party.words = fmt::format("the unclaimed address {}", voice.address);
  parties.all.push_back(std::move(party));
  return parties.all.size() - 1;
}

std::string parties_words(const ComparedParties& parties, const std::vector<std::size_t>& list) {
  std::string words;
  for (std::size_t i = 0; i < list.size() && i < kNamed; ++i) {
    const bool last = i + 1 == list.size();
    words += (i == 0 ? "" : last ? " and " : ", ") + parties.all[list[i]].words;
  }
  if (list.size() > kNamed) words += fmt::format(" and {} more", list.size() - kNamed);
  return words;
}

}  // namespace tramlog
