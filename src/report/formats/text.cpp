// The report for people: the answer first, then the roll call, the likely causes, and the evidence behind it
// all.
#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/findings_page.hpp"
#include "report/format.hpp"
#include "report/head.hpp"
#include "report/page.hpp"
#include "report/recorder_page.hpp"
#include "report/seeding_page.hpp"
#include "report/sentences.hpp"
#include "report/story_page.hpp"

namespace tramlog::formats {

extern const Format text;

namespace {

// Of a crowd of faults and dropouts:
constexpr std::size_t kBriefLines = 2;  // of each list
constexpr std::size_t kBriefRoll = 12;  // lines of the roll call; beyond, only those that are not present

// `where`: how the sentence ends that counts faults and warnings.
void answers(Page& page, const Report& report, const char* where, bool findings = true) {
  page.heading("ANSWER");
  for (const std::string& line : answer_lines(report, {where, crowded(report.found), false, findings})) page.item("  * ", line);
}

void roll(Page& page, const Conclusions& all) {
  const std::vector<std::size_t> widths = {17, 24, 11};
  if (all.rollcall) {
    page.heading("ROLL CALL");
    page.row({"State", "Controller", "Address", "Software"}, widths);
    const bool short_list = crowded(all) && all.rollcall->entries.size() > kBriefRoll;
    std::size_t present = 0, listed = 0, left_out = 0;
    for (const RollcallEntry& entry : all.rollcall->entries) {
      const ControllerRecord* c = entry.controller ? &all.controllers[*entry.controller] : nullptr;
      const bool fine = entry.state == EntryState::present || entry.state == EntryState::software_unknown ||
                        (!entry.required && entry.state == EntryState::missing);
      if (short_list && (fine || listed == kBriefRoll)) {
        ++(fine ? present : left_out);
        continue;
      }
      ++listed;
      page.row(
          {fine ? state_code(entry.state) : upper(state_code(entry.state)),
           entry.label + (entry.required ? "" : " (optional)"),
           c && c->address != kNullAddress ? address_words(c->address) : "-", c ? software_words(*c) : "-"},
          widths);
    }
    if (short_list)
      page.item("", fmt::format("{} present{}.", counted(present, "other is", "others are"),
                                left_out > 0 ? fmt::format("; {} not, see the JSON report", left_out) : ""));
    for (const Name name : all.rollcall->extra)
      for (const ControllerRecord& c : all.controllers)
        if (c.name == name)
          page.row({c.state == ControllerState::present ? "not in roster" : upper(state_code(c.state)),
                    function_term(c.name) + (c.state == ControllerState::present ? "" : " (not in roster)"),
                    c.address != kNullAddress ? address_words(c.address) : "-", software_words(c)},
                   widths);
    return;
  }
  page.heading("CONTROLLERS");
  page.row({"State", "Controller", "Address", "Software"}, widths);
  for (const ControllerRecord& c : all.controllers)
    page.row({c.state == ControllerState::present ? state_code(c.state) : upper(state_code(c.state)),
              function_term(c.name) + on_bus(all, c.bus),
              c.address != kNullAddress ? address_words(c.address) : "-", software_words(c)},
             widths);
  for (const UnclaimedRecord& u : all.unclaimed)
    page.row({"never claimed", fmt::format("unknown{}", on_bus(all, u.bus)), address_words(u.address),
              u.software.empty() ? "-" : joined(u.software)},
             widths);
}

void not_listed(Page& page, std::size_t under_findings, std::size_t left_out) {
  if (under_findings > 0)
    page.item("  ", fmt::format("{} above and listed in the JSON report.",
                                counted(under_findings, "is counted under its finding",
                                        "are counted under their findings")));
  if (left_out > 0)
    page.item("  ", fmt::format("{} in the JSON report.", counted(left_out, "more stands", "more stand")));
}

void dropouts(Page& page, const Conclusions& all) {
  bool any = false;
  for (const Dropout& d : all.dropouts) any = any || d.kind != DropoutKind::power_down;
  if (!any) return;
  page.heading("DROPOUTS (from the last frame before to the first frame after)");
  const std::vector<bool> counted_above = counted_under(all, true);
  std::size_t listed = 0, above = 0, left_out = 0;
  for (std::size_t i = 0; i < all.dropouts.size(); ++i) {
    const Dropout& d = all.dropouts[i];
    if (d.kind == DropoutKind::power_down) continue;
    if (counted_above[i] || (crowded(all) && listed >= kBriefLines)) {
      ++(counted_above[i] ? above : left_out);
      continue;
    }
    ++listed;
    page.item("  ", dropout_words(all, d));
  }
  not_listed(page, above, left_out);
}

void faults(Page& page, const Conclusions& all) {
  for (const Severity severity : {Severity::fault, Severity::warning, Severity::note}) {
    const bool any = std::any_of(all.faults.begin(), all.faults.end(),
                                 [&](const Fault& f) { return f.severity == severity; });
    if (!any) continue;
    page.heading(severity == Severity::fault     ? "FAULTS"
                 : severity == Severity::warning ? "WARNINGS"
                                                 : "NOTES");
    const std::vector<bool> counted_above = counted_under(all, false);
    std::size_t listed = 0, above = 0, left_out = 0;
    for (std::size_t i = 0; i < all.faults.size(); ++i) {
      const Fault& fault = all.faults[i];
      if (fault.severity != severity) continue;
      if (counted_above[i] || (crowded(all) && listed >= kBriefLines)) {
        ++(counted_above[i] ? above : left_out);
        continue;
      }
      ++listed;
      page.item(fmt::format("  {}  ", format_time_of_day(fault.start)),
                fmt::format("{} [{}]", fault.text, fault.code));
      if (crowded(all)) continue;
      for (const Evidence& evidence : fault.evidence)
        page.item("                  ", fmt::format("{}: {}", mark_words(evidence.at), evidence.text));
    }
    not_listed(page, above, left_out);
  }
}

void details(Page& page, const Conclusions& all) {
  if (all.controllers.empty() || crowded(all)) return;  // of a crowd: in the JSON report
  page.heading("CONTROLLERS IN DETAIL");
  for (std::size_t i = 0; i < all.controllers.size(); ++i) {
    const ControllerRecord& c = all.controllers[i];
    page.item("  ", fmt::format("{}{}", controller_words(all, i), on_bus(all, c.bus)));
    for (const auto& [label, words] : controller_lines(all, i)) {
      if (label == "NAME")
        page.item("      ", label + " " + words);
      else
        page.item("      " + label + " ", words);
    }
  }
}

void buses(Page& page, const Conclusions& all) {
  page.heading("BUSES");
  for (const BusSummary& bus : all.buses) page.item("  ", fmt::format("{}: {}", bus.name, bus_words(bus)));
  for (const UnclaimedRecord& u : all.unclaimed) page.item("  ", unclaimed_words(all, u));
}

void transfers(Page& page, const Conclusions& all) {
  const std::vector<LabelledText> lines = transfer_lines(all);
  if (!lines.empty()) page.heading("TRANSFERS");
  for (const auto& [protocol, words] : lines) page.item("  ", fmt::format("{}: {}", protocol, words));
}

std::string render_report(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  Page page(options.unicode);
  head_page(page, report, "BUS REPORT", options);
  main_findings_page(page, all);
  answers(page, report, " below");
  story_page(page, all);
  if (!all.nothing_read()) roll(page, all);
  causes_page(page, all);
  dropouts(page, all);
  faults(page, all);
  transfers(page, all);
  details(page, all);
  buses(page, all);
  recorder_page(page, all);
  return page.take();
}

std::string render_rollcall(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  Page page(options.unicode);
  head_page(page, report, "ROLL CALL", options);
  answers(page, report, ": see tramlog report", false);
  roll(page, all);
  if (all.rollcall) {
    bool begun = false;
    for (const RollcallEntry& entry : all.rollcall->entries) {
      if (entry.detail.empty()) continue;
      if (!begun) page.heading("WHY");
      begun = true;
      page.item("  ", fmt::format("{}: {}.", entry.label, entry.detail));
    }
  }
  notes_page(page, all);
  return page.take();
}

}  // namespace

const Format text{"text", "for people: 78 columns, plain ASCII, the answer first", render_report,
                  render_rollcall, seeding_page};

}  // namespace tramlog::formats
