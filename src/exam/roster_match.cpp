// Assignment of seen controllers to roster entries.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.hpp"
#include "exam/roster.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kNobody = static_cast<std::size_t>(-1);
constexpr std::size_t kNamedInDetail = 4;

/// Different NAMEs in the order in which they were first seen.
struct Unit {
  Name name;
  std::size_t seen = 0;
  std::vector<std::string> software;
  SoftwareSilence silence = SoftwareSilence::never_asked;
  std::size_t entry = kNobody;  // that took it
  bool extra = false;           // no entry took it, no ambiguous entry could be it
  bool stands_in = false;
};

void add_texts(Unit& unit, const std::vector<std::string>& texts) {
  for (const std::string& text : texts) {
    std::string clean = printable_utf8(trimmed(text));
    if (!clean.empty() && std::find(unit.software.begin(), unit.software.end(), clean) == unit.software.end())
      unit.software.push_back(std::move(clean));
  }
}

std::vector<Unit> merged(const std::vector<Seen>& seen) {
  std::vector<Unit> units;
  std::map<std::uint64_t, std::size_t> place;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    const auto [found, fresh] = place.emplace(seen[i].name.raw(), units.size());
    if (fresh) {
      Unit unit;
      unit.name = seen[i].name;
      unit.seen = i;
      unit.silence = seen[i].silence;
      units.push_back(std::move(unit));
    }
    Unit& unit = units[found->second];
    // "Never asked" on one bus says less than what happened on the other.
    if (unit.silence == SoftwareSilence::never_asked) unit.silence = seen[i].silence;
    add_texts(unit, seen[i].software);
  }
  return units;
}

class Assignment {
 public:
  Assignment(const Roster& roster, std::vector<Unit> units)
      : entries_(roster.entries),
        units_(std::move(units)),
        taken_(entries_.size(), kNobody),
        free_(entries_.size(), 0) {
    for (std::size_t e = 0; e < entries_.size(); ++e)
      for (const Unit& unit : units_) free_[e] += entries_[e].matches(unit.name) ? 1 : 0;
  }

  void run() {
    for (std::size_t e = next(); e != kNobody; e = next()) take(e, only_candidate(e));
  }

  RosterMatch result() {
    RosterMatch match;
    for (std::size_t e = 0; e < entries_.size(); ++e) match.entries.push_back(base_result(e));
    for (Unit& unit : units_) {
      unit.extra = is_extra(unit);
      if (unit.extra) match.extra.push_back(unit.seen);
    }
    for (EntryResult& result : match.entries)
      if (result.match == EntryMatch::missing) find_stand_in(result);
    for (EntryResult& result : match.entries) describe(result);
    return match;
  }

 private:
  /// The most specific entry with exactly one free candidate. An exact NAME never has more than one, and
  /// outranks every other entry.
  std::size_t next() const {
    std::size_t best = kNobody;
    for (std::size_t e = 0; e < entries_.size(); ++e)
      if (taken_[e] == kNobody && free_[e] == 1 && (best == kNobody || outranks(e, best))) best = e;
    return best;
  }

  bool outranks(std::size_t a, std::size_t b) const {
    const unsigned fields_a = entries_[a].name.specificity();
    const unsigned fields_b = entries_[b].name.specificity();
    if (fields_a != fields_b) return fields_a > fields_b;
    return entries_[a].required && !entries_[b].required;
  }

  bool is_candidate(std::size_t e, const Unit& unit) const {
    return unit.entry == kNobody && entries_[e].matches(unit.name);
  }

  std::size_t only_candidate(std::size_t e) const {
    std::size_t u = 0;
    while (!is_candidate(e, units_[u])) ++u;
    return u;
  }

  void take(std::size_t e, std::size_t u) {
    for (std::size_t other = 0; other < entries_.size(); ++other)
      if (is_candidate(other, units_[u])) --free_[other];
    taken_[e] = u;
    units_[u].entry = e;
  }

  bool is_ambiguous(std::size_t e) const { return taken_[e] == kNobody && free_[e] > 1; }

  bool is_extra(const Unit& unit) const {
    if (unit.entry != kNobody) return false;
    for (std::size_t e = 0; e < entries_.size(); ++e)
      if (is_ambiguous(e) && entries_[e].matches(unit.name)) return false;
    return true;
  }

  EntryResult base_result(std::size_t e) const {
    EntryResult result;
    result.entry = e;
    if (taken_[e] != kNobody) {
      const Unit& unit = units_[taken_[e]];
      result.match = EntryMatch::matched;
      result.seen = unit.seen;
      SoftwareCheck check = check_software(entries_[e].software, unit.software);
      result.software = check.verdict;
      result.unmet = std::move(check.unmet);
    } else if (is_ambiguous(e)) {
      result.match = EntryMatch::ambiguous;
      for (const Unit& unit : units_)
        if (is_candidate(e, unit) && result.candidates.size() < kMaxListedCandidates)
          result.candidates.push_back(unit.seen);
    }
    return result;
  }

  /// A swapped unit: nothing in the roster explains it, and it does the missing one's job. One for one.
  void find_stand_in(EntryResult& result) {
    for (Unit& unit : units_) {
      if (!unit.extra || unit.stands_in || !entries_[result.entry].name.matches_job(unit.name)) continue;
      unit.stands_in = true;
      result.stand_in = unit.seen;
      return;
    }
  }

  const Unit& unit_of(std::size_t seen) const {
    return *std::lower_bound(units_.begin(), units_.end(), seen,
                             [](const Unit& unit, std::size_t wanted) { return unit.seen < wanted; });
  }

  void describe(EntryResult& result) const {
    if (result.match == EntryMatch::ambiguous) {
      result.detail = ambiguous_detail(result);
    } else if (result.match == EntryMatch::missing) {
      result.detail = missing_detail(result);
    } else {
      result.detail = software_detail(result);
    }
  }

  std::string ambiguous_detail(const EntryResult& result) const;
  std::string missing_detail(const EntryResult& result) const;
  std::string software_detail(const EntryResult& result) const;
  std::string differing_fields(std::size_t e) const;

  const std::vector<RosterEntry>& entries_;
  std::vector<Unit> units_;
  std::vector<std::size_t> taken_;  // per entry: index in units_
  std::vector<std::size_t> free_;   // per entry: how many free units fit it
};

std::string quoted_list(const std::vector<std::string>& texts) {
  std::string list;
  for (std::size_t i = 0; i < texts.size() && i < kNamedInDetail; ++i)
    list += fmt::format("{}\"{}\"", i == 0 ? "" : ", ", texts[i]);
  if (texts.size() > kNamedInDetail) list += fmt::format(" and {} more", texts.size() - kNamedInDetail);
  return list;
}

/// Keys of the fields in which the candidates of an entry are not all alike.
std::string Assignment::differing_fields(std::size_t e) const {
  std::uint64_t different = 0;
  std::optional<Name> first;
  for (const Unit& unit : units_) {
    if (!is_candidate(e, unit)) continue;
    if (!first) first = unit.name;
    different |= unit.name.raw() ^ first->raw();
  }
  const Name bits(different);
  std::string list;
  const auto add = [&list](bool differs, std::string_view key) {
    if (differs) list += fmt::format("{}{}", list.empty() ? "" : ", ", key);
  };
  add(bits.industry_group() != 0, "industry_group");
  add(bits.device_class() != 0, "device_class");
  add(bits.device_class_instance() != 0, "device_class_instance");
  add(bits.function() != 0, "function");
  add(bits.function_instance() != 0, "function_instance");
  add(bits.ecu_instance() != 0, "ecu_instance");
  add(bits.manufacturer_code() != 0, "manufacturer_code");
  add(bits.identity_number() != 0, "identity_number");
  add(bits.self_configurable_address(), "self_configurable_address");
  return list;
}

std::string Assignment::ambiguous_detail(const EntryResult& result) const {
  const std::size_t e = result.entry;
  std::string detail = fmt::format("{} controllers fit: ", free_[e]);
  const std::size_t named = std::min(result.candidates.size(), kNamedInDetail);
  for (std::size_t i = 0; i < named; ++i)
    detail += fmt::format("{}{}", i == 0 ? "" : ", ", unit_of(result.candidates[i]).name.hex());
  if (free_[e] > named) detail += fmt::format(" and {} more", free_[e] - named);
  const std::string fields = differing_fields(e);
  if (!fields.empty()) detail += "; in the roster, tell them apart by " + fields;
  return detail;
}

std::string Assignment::missing_detail(const EntryResult& result) const {
  const RosterEntry& entry = entries_[result.entry];
  if (result.stand_in) {
    const Name other = unit_of(*result.stand_in).name;
    return fmt::format(
        "{} is not there, but NAME {} with identity number {} does the same job: a replaced unit?",
        entry.name.describe(), other.hex(), other.identity_number());
  }
  for (const Unit& unit : units_)
    if (unit.entry != kNobody && entry.matches(unit.name))
      return fmt::format("NAME {} fits, but it is \"{}\"", unit.name.hex(), entries_[unit.entry].label);
  return fmt::format("no controller fits {}", entry.name.describe());
}

std::string Assignment::software_detail(const EntryResult& result) const {
  const Unit& unit = unit_of(*result.seen);
  if (result.software == SoftwareVerdict::unknown)
    return fmt::format("software unknown: {}", silence_text(unit.silence));
  if (result.software == SoftwareVerdict::wrong)
    return fmt::format("reports software {}, expected {}", quoted_list(unit.software),
                       quoted_list(result.unmet));
  return {};
}

}  // namespace

RosterMatch match_roster(const Roster& roster, const std::vector<Seen>& seen) {
  Assignment assignment(roster, merged(seen));
  assignment.run();
  return assignment.result();
}

}  // namespace tramlog
