#include "report/head.hpp"
#include "report/recorder_page.hpp"
#include "report/seeding_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/page.hpp"

namespace tramlog {

const char* const kSeedingCaution =
    "A run-up with fans, meters or raised parts follows the machine's manual and local rules: nobody near moving parts, "
    "raised parts secured. This report does not replace calibration.";

namespace {

struct Tally {
  std::size_t pass = 0, attention = 0, not_shown = 0;
  void add(const CheckLine& line) {
    ++(line.verdict == Verdict::pass ? pass : line.verdict == Verdict::attention ? attention : not_shown);
  }
};

std::string seconds(const std::optional<double>& value) {
  return value && std::isfinite(*value) ? fmt::format("{:.2f} s", *value) : "-";
}
std::string percent(const std::optional<double>& value) {
  return value && std::isfinite(*value) ? fmt::format("{:.1f} %", *value) : "-";
}

void write_line(Page& page, const CheckLine& line) {
  const char* verdict = line.verdict == Verdict::attention ? "  ATTENTION  "
                        : line.verdict == Verdict::pass    ? "  pass       "
                                                           : "  not shown  ";
  page.item(verdict, fmt::format("{} [{}]", check_line_words(line), line.code));
  if (line.verdict != Verdict::attention) return;
  for (const Moment& moment : line.moments)
    page.item("               ", fmt::format("{}: {}", mark_words(moment.at), moment.text));
}

void write_topics(Page& page, const std::vector<CheckLine>& lines) {
  std::string topic;
  for (std::size_t i = 0; i < lines.size();) {
    const CheckLine& line = lines[i];
    if (line.topic != topic) page.heading(upper(line.topic));
    topic = line.topic;
    // Several that cannot be shown for one and the same reason are one line with all their codes.
    std::size_t next = i + 1;
    CheckLine joint = line;
    while (next < lines.size() && lines[next].verdict == Verdict::not_shown && line.verdict == Verdict::not_shown &&
           lines[next].topic == line.topic && lines[next].subject == line.subject && lines[next].text == line.text)
      joint.code += ", " + lines[next++].code;
    write_line(page, joint);
    i = next;
  }
}

void figures(Page& page, const char* title, const FigureTable& table, const std::vector<std::size_t>& widths) {
  if (table.rows.empty()) return;
  page.heading(title);
  page.row(table.columns, widths);
  for (const std::vector<std::string>& row : table.rows) page.row(row, widths);
}

}  // namespace

std::string check_line_words(const CheckLine& line) {
  return line.subject.empty() ? line.text : line.subject + ": " + line.text;
}

std::string implement_words(const Conclusions& all, const ImplementRecord& implement) {
  std::string words = voice_words(
      all, implement.client == kNobody ? std::nullopt : std::optional(static_cast<std::size_t>(implement.client)),
      implement.address);
  if (implement.pool.device && !implement.pool.device->designator.empty())
    words = fmt::format("\"{}\", {}", implement.pool.device->designator, words);
  return all.buses.size() > 1 ? fmt::format("{} on {}", words, all.buses[implement.bus].name) : words;
}

std::string description_words(const ImplementRecord& implement) {
  return implement.pool.empty()
             ? "description: not known, so elements go by number; see tramlog devices --help"
             : fmt::format("description: {}, {}", implement.source_words, counted(implement.pool.objects(), "object", "objects"));
}

FigureTable meter_figures(const ImplementRecord& implement) {
  FigureTable table{{"Element", "Steps", "Dead time", "Rise", "Overshoot", "Settled error"}, {}};
  for (const PairRecord& pair : implement.pairs) {
    const auto complete = std::count_if(pair.steps.begin(), pair.steps.end(),
                                        [](const StepRecord& step) { return step.complete; });
    table.rows.push_back({fmt::format("{}: {}", pair.subject, pair.quantity), fmt::format("{}/{}", complete, pair.steps.size()),
              seconds(pair.dead_time_s), seconds(pair.rise_time_s), percent(pair.overshoot_pct),
              pair.settled_error_pct ? percent(pair.settled_error_pct) + " of range" : "-"});
  }
  return table;
}

FigureTable section_figures(const ImplementRecord& implement) {
  FigureTable table{{"Section", "Width", "On: median, worst, n", "Off: median, worst, n", "Remarks"}, {}};
  const auto delays = [](const SectionRecord::Delays& d) {
    return d.count == 0 ? std::string("-")
                        : fmt::format("{}, {}, {}", seconds(d.median_s), seconds(d.worst_s), d.count);
  };
  for (const SectionRecord& section : implement.sections) {
    std::string remarks;
    const auto add = [&](std::string text) { remarks += (remarks.empty() ? "" : "; ") + std::move(text); };
    if (section.never_on > 0) add(fmt::format("not on {}x", section.never_on));
    if (section.never_off > 0) add(fmt::format("not off {}x", section.never_off));
    if (section.flickers > 0) add(fmt::format("flickers {}x", section.flickers));
    if (section.error_s > 0) add("error");
    if (section.overridden_s > 0) add("overridden");
    table.rows.push_back({fmt::format("{}{}", section.section, section.outer ? " o" : ""),
              section.width_mm ? fmt::format("{:.2f} m", *section.width_mm / 1000.0) : "-", delays(section.on),
              delays(section.off), remarks});
  }
  return table;
}

std::vector<std::string> seeding_answers(const Conclusions& all) {
  const SeedingRecord& seeding = all.seeding;
  std::vector<std::string> told;
  Tally tally;
  for (const CheckLine& line : seeding.lines) tally.add(line);
  for (const ImplementRecord& implement : seeding.implements)
    for (const CheckLine& line : implement.lines) tally.add(line);
  if (all.nothing_read()) told.push_back("The capture holds no CAN frame at all.");
  if (seeding.implements.empty())
    told.push_back("No implement talked to a task controller here: rates, sections and totals are not shown on this bus.");
  const auto attention = [&](const std::vector<CheckLine>& lines) {
    for (const CheckLine& line : lines)
      if (line.verdict == Verdict::attention) told.push_back(fmt::format("{} [{}]", check_line_words(line), line.code));
  };
  for (const ImplementRecord& implement : seeding.implements) attention(implement.lines);
  attention(seeding.lines);
  told.push_back(fmt::format("{} {} attention, {} {}, {} not shown on this bus.",
                                counted(tally.attention, "line", "lines"), tally.attention == 1 ? "needs" : "need",
                                tally.pass, tally.pass == 1 ? "passes" : "pass", tally.not_shown));
  if (const SpanNs blind = blind_total(all); blind > 0)
    told.push_back(fmt::format("The recorder was blind for {} in all: nothing is measured across that.",
                                  format_span(blind)));
  return told;
}

std::string seeding_page(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  const SeedingRecord& seeding = all.seeding;
  Page page(options.unicode);
  head_page(page, report, "SEEDING CHECK", options);
  page.line();
  page.item("", kSeedingCaution);

  page.heading("ANSWER");
  for (const std::string& line : seeding_answers(all)) page.item("  * ", line);
  for (const ImplementRecord& implement : seeding.implements) {
    page.heading("IMPLEMENT");
    page.item("  ", implement_words(all, implement));
    page.item("  ", description_words(implement));
    write_topics(page, implement.lines);
    figures(page, "METERS IN FIGURES (medians over the measured steps of the set rate)", meter_figures(implement),
            {27, 8, 9, 9, 10});
    figures(page, "SECTIONS IN FIGURES (left to right in driving direction; o = outer quarter)", section_figures(implement),
            {10, 9, 22, 22});
  }
  if (!seeding.implements.empty() && !seeding.lines.empty()) page.heading("MACHINE");
  write_topics(page, seeding.lines);
  notes_page(page, all);
  return page.take();
}

}  // namespace tramlog
