// Input: a roster text, then optionally a zero byte and what was on the bus: eight NAME bytes, a software
// text, a line end, and so on. Whatever parses is matched; what was on the bus is learnt, and must be found
// again.
#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "exam/roster.hpp"

using namespace tramlog;

namespace {

constexpr std::size_t kNameBytes = 8;
constexpr std::size_t kMostSeen = 64;

void require(bool held) {
  if (!held) std::abort();
}

std::vector<Seen> seen_from(std::string_view bytes) {
  std::vector<Seen> seen;
  while (bytes.size() >= kNameBytes && seen.size() < kMostSeen) {
    Seen one;
    one.name = Name::from_claim(reinterpret_cast<const std::uint8_t*>(bytes.data()));
    bytes.remove_prefix(kNameBytes);
    const std::string_view text = bytes.substr(0, bytes.find('\n'));
    bytes.remove_prefix(std::min(bytes.size(), text.size() + 1));
    if (!text.empty()) one.software.emplace_back(text);
    one.silence = static_cast<SoftwareSilence>(text.size() % 6);
    seen.push_back(std::move(one));
  }
  return seen;
}

void check_match(const Roster& roster, const std::vector<Seen>& seen) {
  const RosterMatch match = match_roster(roster, seen);
  require(match.entries.size() == roster.entries.size());
  std::vector<bool> used(seen.size(), false);
  for (const EntryResult& result : match.entries) {
    require(result.seen.has_value() == (result.match == EntryMatch::matched));
    require((result.candidates.size() > 1) == (result.match == EntryMatch::ambiguous));
    if (!result.seen) continue;
    require(roster.entries[result.entry].matches(seen.at(*result.seen).name) && !used[*result.seen]);
    used[*result.seen] = true;
  }
  for (const std::size_t extra : match.extra) require(!used.at(extra));
}

void check_learning(const std::vector<Seen>& seen) {
  std::vector<LearnedController> controllers;
  for (const Seen& one : seen)
    controllers.push_back({one.name, static_cast<std::uint8_t>(controllers.size()), one.software});
  const auto roster = parse_roster(write_roster("Larkfield drill", controllers), "learnt.toml");
  require(roster.ok() == !seen.empty());
  if (!roster.ok()) return;
  const RosterMatch match = match_roster(roster.value(), seen);
  for (const EntryResult& result : match.entries) {
    require(result.match == EntryMatch::matched);
    require(result.software == SoftwareVerdict::ok || result.software == SoftwareVerdict::any);
  }
  require(match.extra.empty());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view all(reinterpret_cast<const char*>(data), size);
  const std::size_t split = all.find('\0');
  const std::vector<Seen> seen =
      seen_from(split == std::string_view::npos ? std::string_view{} : all.substr(split + 1));
  const auto roster = parse_roster(all.substr(0, split), "roster.toml");
  if (roster.ok()) {
    check_match(roster.value(), seen);
  } else {
    require(!roster.error().what.empty() && !roster.error().where.empty() && !roster.error().remedy.empty());
  }
  check_learning(seen);
  return 0;
}
