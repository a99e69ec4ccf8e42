// Seeding: answers of meters and sections, totals; and the device description.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "compare/desk.hpp"

namespace tramlog {
namespace {

// Lines of a description that are told one by one.
constexpr std::size_t kOutlineTold = 12;
constexpr std::size_t kMostRows = 5'000;

struct FigureKind {
  const char* key;
  const char* code;
  const char* words;
  const char* unit;
  noise::Limit limit;
};
constexpr FigureKind kPairFigures[] = {
    {"dead_time_s", "meter.dead-time", "dead time", "s", noise::kDelayS},
    {"rise_time_s", "meter.rise-time", "rise time", "s", noise::kDelayS},
    {"overshoot_pct", "meter.overshoot", "overshoot", "%", noise::kOvershootPct},
    {"settled_error_pct", "meter.settled-error", "settled error", "%", noise::kErrorPct},
    {"outside_tolerance_pct", "meter.tolerance", "time outside the tolerance", "%", noise::kOutsidePct},
};
constexpr FigureKind kTotalFigure = {"difference_pct", "total.differs",
                                     "difference of the total to what was measured", "%", noise::kErrorPct};
constexpr FigureKind kOnDelay = {"median_s", "section.on-delay", "delay to switch on (median)", "s",
                                 noise::kDelayS};
constexpr FigureKind kOffDelay = {"median_s", "section.off-delay", "delay to switch off (median)", "s",
                                  noise::kDelayS};

void figure(CompareDesk& desk, const FigureKind& kind, const JsonDoc& was, const JsonDoc& is,
            const std::string& subject) {
  const auto before = number_of(was, kind.key), after = number_of(is, kind.key);
  if (!before || !after) return;
  ++desk.out.compared;
  const double b = std::fabs(*before), a = std::fabs(*after);  // an error is one to either side
  const Judgement judged = judge_figure(b, a, kind.limit);
  if (!judged.differs) {
    desk.out.within_noise += a != b;
    return;
  }
  desk.say(
      {judged.change,
       kind.code,
       "seeding",
       subject,
       fmt::format("{} {:.2f} {} before, {:.2f} {} after", kind.words, *before, kind.unit, *after, kind.unit),
       *before,
       *after,
       kind.unit,
       false,
       {}});
}

// Rows of a list by a key of their own; the first of each key.
template <class Key>
std::map<std::string, const JsonDoc*> rows_by(const JsonDoc& list, const Key& key) {
  std::map<std::string, const JsonDoc*> rows;
  for (const JsonDoc& row : list) {
    if (rows.size() >= kMostRows) break;
    if (row.is_object()) rows.emplace(key(row), &row);
  }
  return rows;
}

template <class Key, class Take>
void each_common(const JsonDoc& was, const JsonDoc& is, const char* list, const Key& key, const Take& take) {
  const auto others = rows_by(list_of(is, list), key);
  for (const auto& [name, row] : rows_by(list_of(was, list), key))
    if (const auto found = others.find(name); found != others.end()) take(*row, *found->second);
}

void seeding(CompareDesk& desk, const JsonDoc& was, const JsonDoc& is) {
  const auto whole = [](const JsonDoc& row, const char* key) {
    return fmt::format("{:.0f}", number_or(row, key, -1));
  };
  each_common(
      was, is, "pairs",
      [&](const JsonDoc& row) {
        return whole(row, "element") + "/" + whole(row, "set_ddi") + "/" + whole(row, "actual_ddi");
      },
      [&](const JsonDoc& b, const JsonDoc& a) {
        for (const FigureKind& kind : kPairFigures) figure(desk, kind, b, a, text_of(b, "subject"));
      });
  each_common(
      was, is, "sections", [&](const JsonDoc& row) { return whole(row, "section"); },
      [&](const JsonDoc& b, const JsonDoc& a) {
        figure(desk, kOnDelay, member_of(b, "on_delay"), member_of(a, "on_delay"), text_of(b, "subject"));
        figure(desk, kOffDelay, member_of(b, "off_delay"), member_of(a, "off_delay"), text_of(b, "subject"));
      });
  each_common(
      was, is, "totals", [&](const JsonDoc& row) { return whole(row, "element") + "/" + whole(row, "ddi"); },
      [&](const JsonDoc& b, const JsonDoc& a) { figure(desk, kTotalFigure, b, a, text_of(b, "subject")); });
}

void described(CompareDesk& desk, const std::string& subject, const char* code, std::string text,
               Change change = Change::other) {
  desk.say(
      {change, code, "description", subject, std::move(text), std::nullopt, std::nullopt, "", false, {}});
}

// "element 2 DDI 67": up to the colon, what both sides may have in common.
std::string outline_key(const std::string& line) {
  return line.starts_with("element ") && line.find(" DDI ") != std::string::npos
             ? line.substr(0, line.find(':'))
             : line;
}

void outline(CompareDesk& desk, const std::string& subject, const JsonDoc& was, const JsonDoc& is) {
  std::multimap<std::string, std::string> gone, added;
  {
    const auto before = texts_of(was, "lines"), after = texts_of(is, "lines");
    const std::multiset<std::string> b(before.begin(), before.end()), a(after.begin(), after.end());
    std::vector<std::string> only;
    std::set_difference(b.begin(), b.end(), a.begin(), a.end(), std::back_inserter(only));
    for (const std::string& line : only) gone.emplace(outline_key(line), line);
    only.clear();
    std::set_difference(a.begin(), a.end(), b.begin(), b.end(), std::back_inserter(only));
    for (const std::string& line : only) added.emplace(outline_key(line), line);
  }
  std::size_t count = 0;
  const auto tell = [&](const char* code, std::string text) {
    if (++count <= kOutlineTold) described(desk, subject, code, std::move(text));
  };
  for (auto line = gone.begin(); line != gone.end();) {
    const auto other = added.find(line->first);
    if (other == added.end()) {
      ++line;
      continue;
    }
    tell("description.changed", fmt::format("\"{}\" before, \"{}\" after", line->second, other->second));
    added.erase(other);
    line = gone.erase(line);
  }
  for (const auto& [key, line] : gone) tell("description.removed", fmt::format("before only: \"{}\"", line));
  for (const auto& [key, line] : added) tell("description.added", fmt::format("after only: \"{}\"", line));
  if (count > kOutlineTold)
    described(desk, subject, "description.more",
              fmt::format("{} more lines of the description differ; tramlog devices shows each",
                          count - kOutlineTold));
  if (count == 0)
    described(desk, subject, "description.changed",
              "the description differs beyond the lines that the reports list; tramlog devices shows each");
}

void description(CompareDesk& desk, const std::string& subject, const JsonDoc& was, const JsonDoc& is) {
  const double was_objects = number_or(was, "objects", 0), is_objects = number_or(is, "objects", 0);
  if (was_objects <= 0 || is_objects <= 0) {
    if (was_objects != is_objects)
      described(desk, subject, "description.known",
                fmt::format("the description is known {} only", was_objects > 0 ? "before" : "after"));
    return;
  }
  ++desk.out.compared;
  for (const auto& [key, words] :
       {std::pair("software_version", "software version"), std::pair("designator", "name"),
        std::pair("structure_label", "structure label")}) {
    const std::string b = text_of(was, key), a = text_of(is, key);
    if (b != a && !b.empty() && !a.empty())
      described(desk, subject, "description.head",
                fmt::format("{} \"{}\" before, \"{}\" after", words, b, a));
  }
  const double b = number_or(was, "problems", 0), a = number_or(is, "problems", 0);
  if (a != b)
    described(desk, subject, "description.problems",
              fmt::format("{:.0f} things wrong in the description before, {:.0f} after", b, a),
              a > b ? Change::worse : Change::better);
  // Reports of an older program have no outline.
  const JsonDoc &was_outline = member_of(was, "outline"), &is_outline = member_of(is, "outline");
  const std::string was_digest = text_of(was_outline, "digest"), is_digest = text_of(is_outline, "digest");
  if (!was_digest.empty() && !is_digest.empty() && was_digest != is_digest)
    outline(desk, subject, was_outline, is_outline);
}

// Who an implement is, on both sides alike.
std::size_t implement_party(CompareDesk& desk, const SideFacts& side, const JsonDoc& implement,
                            bool of_after) {
  const double address = number_or(implement, "address", 255);
  return party_of(desk.parties,
                  {side.controller_named(text_of(implement, "controller")),
                   address >= 0 && address < 256 ? static_cast<unsigned>(address) : 255},
                  of_after);
}

}  // namespace

void compare_implements(CompareDesk& desk) {
  std::map<std::size_t, const JsonDoc*> others;
  const auto take = [&](const SideFacts& side, bool of_after, const auto& give) {
    std::size_t count = 0;
    for (const JsonDoc& implement : *side.implements)
      if (implement.is_object() && ++count <= kMostRows)
        give(implement_party(desk, side, implement, of_after), implement);
  };
  take(desk.after, true,
       [&](std::size_t party, const JsonDoc& implement) { others.emplace(party, &implement); });
  std::set<std::size_t> done;
  take(desk.before, false, [&](std::size_t party, const JsonDoc& implement) {
    const auto found = others.find(party);
    if (found == others.end() || !done.insert(party).second) return;
    const std::string subject = desk.parties.all[party].words;
    seeding(desk, implement, *found->second);
    description(desk, subject, member_of(implement, "description"), member_of(*found->second, "description"));
  });
}

}  // namespace tramlog
