#include "compare/facts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "base/time_bound.hpp"
#include "can/can_id.hpp"

namespace tramlog {
namespace {

// A report of our own has far fewer; a forged one must not keep us busy.
constexpr std::size_t kMost = 50'000;
constexpr std::size_t kMostRivals = 3;  // of one incident; ours have one

unsigned small_number(const JsonDoc& object, const char* key) {
  const double value = number_or(object, key, 0);
  return value >= 0 && value < 4e9 ? static_cast<unsigned>(value) : 0;
}

template <class Take>
void each(const JsonDoc& list, const Take& take) {
  std::size_t count = 0;
  for (const JsonDoc& one : list) {
    if (++count > kMost) break;
    if (one.is_object()) take(one);
  }
}

std::optional<TimeNs> moment(const std::string& rfc3339) {
  const auto bound = parse_time_bound(rfc3339, "");
  return bound && bound.value().kind == TimeBound::Kind::moment ? std::optional(bound.value().ns)
                                                                : std::nullopt;
}

// Blind spans of one bus may overlap.
double blind_seconds(const JsonDoc& bus) {
  std::vector<std::pair<TimeNs, TimeNs>> spans;
  each(list_of(bus, "blind"), [&](const JsonDoc& span) {
    const auto from = moment(text_of(span, "start")), to = moment(text_of(span, "end"));
    if (from && to && *to > *from) spans.emplace_back(*from, *to);
  });
  std::sort(spans.begin(), spans.end());
  double total = 0;
  TimeNs until = INT64_MIN;
  for (const auto& [from, to] : spans) {
    if (to > until) total += to_seconds(span_between(std::max(from, until), to));
    until = std::max(until, to);
  }
  return total;
}

void take_capture(SideFacts& facts, const JsonDoc& capture) {
  SideSummary& summary = facts.summary;
  summary.files = texts_of(capture, "files");
  summary.is_private = summary.is_private || flag_of(capture, "private");
  summary.start = text_of(capture, "start");
  summary.end = text_of(capture, "end");
  summary.duration_s = std::max(0.0, number_or(capture, "duration_s", 0));
  each(list_of(capture, "buses"), [&](const JsonDoc& bus) {
    BusFacts one;
    one.name = text_of(bus, "bus");
    one.load_mean_pct = number_or(bus, "load_mean_pct", 0);
    one.load_peak_pct = number_or(bus, "load_peak_pct", 0);
    one.error_frames = std::max(0.0, number_or(bus, "error_frames", 0));
    one.bitrate = number_or(bus, "bitrate", 0);
    one.blind_s = std::min(blind_seconds(bus), summary.duration_s);
    one.heard_s = summary.duration_s - one.blind_s;
    summary.blind_s = std::max(summary.blind_s, one.blind_s);
    summary.heard_s = std::max(summary.heard_s, one.heard_s);
    facts.buses.push_back(std::move(one));
  });
  facts.heard_h = summary.heard_s / 3600;
  each(list_of(capture, "damage"),
       [&](const JsonDoc& d) { facts.damaged_bytes += std::max(0.0, number_or(d, "bytes", 0)); });
}

void take_part(ControllerFacts& one, const JsonDoc& from, const char* key, const char* words) {
  if (std::string text = text_of(from, key); !text.empty()) one.parts[words] = std::move(text);
}

void take_controllers(SideFacts& facts, const JsonDoc& report) {
  each(list_of(report, "controllers"), [&](const JsonDoc& c) {
    const auto name = Name::from_hex(text_of(c, "name"));
    if (!name) return;
    ControllerFacts one;
    one.name = *name;
    one.bus = text_of(c, "bus");
    one.label = text_of(c, "label");
    one.term = function_term(*name);
    one.state = text_of(c, "state");
    one.software = texts_of(c, "software");
    each(list_of(c, "addresses"), [&](const JsonDoc& a) { one.address = small_number(a, "address"); });
    const JsonDoc& ecu = member_of(c, "ecu_identification");
    take_part(one, ecu, "part_number", "part number");
    take_part(one, ecu, "hardware_version", "hardware version");
    const JsonDoc& product = member_of(c, "product_identification");
    one.product_code = text_of(product, "code");
    take_part(one, product, "brand", "brand");
    take_part(one, product, "model", "model");
    const JsonDoc& component = member_of(c, "component_identification");
    take_part(one, component, "make", "make");
    take_part(one, component, "model", "component's model");
    facts.by_name.emplace(name->raw(), facts.controllers.size());
    facts.controllers.push_back(std::move(one));
  });
  facts.summary.controllers = facts.controllers.size();
}

std::vector<std::size_t> indexes(const SideFacts& facts, const std::vector<std::string>& names) {
  std::vector<std::size_t> list;
  for (const std::string& name : names)
    if (const auto index = facts.controller_named(name)) list.push_back(*index);
  return list;
}

void take_trouble(SideFacts& facts, const JsonDoc& report) {
  const auto place_in = [](const JsonDoc& list, const JsonDoc& one) {
    return static_cast<std::size_t>(&one - &list.front());
  };
  const JsonDoc &dropouts = list_of(report, "dropouts"), &faults = list_of(report, "faults");
  each(dropouts, [&](const JsonDoc& d) {
    if (text_of(d, "kind") != "controller") return;
    facts.dropouts.push_back(
        {{facts.controller_named(text_of(d, "controller")), std::min(small_number(d, "address"), 255u)},
         std::max(0.0, number_or(d, "duration_s", 0)),
         member_of(d, "end").is_null(),
         place_in(dropouts, d)});
  });
  each(faults, [&](const JsonDoc& f) {
    auto& list = text_of(f, "severity") == "note" ? facts.notes : facts.faults;
    list.push_back({text_of(f, "code"), text_of(f, "text"), indexes(facts, texts_of(f, "controllers")),
                    place_in(faults, f)});
  });
  each(list_of(report, "dtcs"), [&](const JsonDoc& d) {
    if (flag_of(d, "previously_active_only")) return;
    TroubleCodeFacts one;
    one.voice = {facts.controller_named(text_of(d, "controller")),
                 std::min(small_number(d, "address"), 255u)};
    one.spn = small_number(d, "spn");
    one.fmi = small_number(d, "fmi");
    const std::string spn_text = text_of(d, "spn_text"), fmi_text = text_of(d, "fmi_text");
    one.words = fmt::format("SPN {}{}, FMI {}{}", one.spn, spn_text.empty() ? "" : " (" + spn_text + ")",
                            one.fmi, fmi_text.empty() ? "" : " (" + fmi_text + ")");
    one.activations = std::max(1.0, number_or(d, "activations", 1));
    facts.codes.push_back(std::move(one));
  });
}

// What a finding explains, and whom that is about.
void take_explained(const SideFacts& facts, const JsonDoc& report, const std::vector<std::string>& pointers,
                    FindingFacts& finding) {
  for (const std::string& pointer : pointers) {
    const bool dropout = pointer.starts_with("/dropouts/");
    if (!dropout && !pointer.starts_with("/faults/")) continue;
    const JsonDoc& list = list_of(report, dropout ? "dropouts" : "faults");
    std::size_t index = 0;
    const char* from = pointer.data() + (dropout ? 10 : 8);
    const auto [end, error] = std::from_chars(from, pointer.data() + pointer.size(), index);
    if (error != std::errc{} || end != pointer.data() + pointer.size() || index >= list.size()) continue;
    if (dropout) {
      finding.dropouts.insert(index);
      if (const auto c = facts.controller_named(text_of(list[index], "controller")))
        finding.controllers.insert(*c);
    } else {
      finding.faults.insert(index);
      for (const std::size_t c : indexes(facts, texts_of(list[index], "controllers")))
        finding.controllers.insert(c);
    }
  }
}

// Two causes of one incident stand one behind the other, explain the same, and say how to tell them apart.
void take_findings(SideFacts& facts, const JsonDoc& report) {
  std::vector<std::string> explained_before;
  bool open_before = false;
  each(list_of(report, "findings"), [&](const JsonDoc& f) {
    std::vector<std::string> explained = texts_of(f, "explains");
    const bool open = !text_of(f, "tell_apart").empty();
    if (open && open_before && !facts.findings.empty() && explained == explained_before) {
      auto& rivals = facts.findings.back().rivals;
      if (rivals.size() < kMostRivals) rivals.push_back({text_of(f, "cause"), text_of(f, "confidence")});
      return;
    }
    FindingFacts finding;
    finding.cause = text_of(f, "cause");
    finding.text = text_of(f, "text");
    finding.confidence = text_of(f, "confidence");
    take_explained(facts, report, explained, finding);
    facts.findings.push_back(std::move(finding));
    explained_before = std::move(explained);
    open_before = open;
  });
}

}  // namespace

std::optional<std::size_t> SideFacts::controller_named(const std::string& hex) const {
  const auto name = Name::from_hex(hex);
  if (!name) return std::nullopt;
  const auto found = by_name.find(name->raw());
  return found == by_name.end() ? std::nullopt : std::optional(found->second);
}

SideFacts facts_of(const CompareSide& side) {
  SideFacts facts;
  const JsonDoc& report = side.report;
  facts.summary.called = side.called;
  facts.summary.is_private = side.is_private;
  take_capture(facts, member_of(report, "capture"));
  const JsonDoc& roster = member_of(report, "roster");
  facts.has_roster = roster.is_object();
  facts.summary.machine = text_of(roster, "machine");
  take_controllers(facts, report);
  take_trouble(facts, report);
  take_findings(facts, report);
  each(list_of(report, "unclaimed"), [&](const JsonDoc& voice) {
    const double address = number_or(voice, "address", -1);
    if (address >= 0 && address <= kNullAddress) facts.nameless.insert(static_cast<unsigned>(address));
  });
  each(list_of(member_of(report, "recorder"), "notes"),
       [&](const JsonDoc& note) { facts.sliced = facts.sliced || text_of(note, "kind") == "cut"; });
  each(list_of(roster, "entries"), [&](const JsonDoc& e) {
    facts.entries.push_back({text_of(e, "label"), text_of(e, "state"),
                             !member_of(e, "required").is_boolean() || flag_of(e, "required")});
  });
  facts.implements = &list_of(report, "implements");
  return facts;
}

}  // namespace tramlog
