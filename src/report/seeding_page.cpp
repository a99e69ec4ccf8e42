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

std::string subject_of(const CheckLine& line) {
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

void write_line(Page& page, const CheckLine& line) {
  const char* verdict = line.verdict == Verdict::attention ? "  ATTENTION  "
                        : line.verdict == Verdict::pass    ? "  pass       "
                                                           : "  not shown  ";
  page.item(verdict, fmt::format("{} [{}]", subject_of(line), line.code));
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

std::string seconds(const std::optional<double>& value) {
  return value && std::isfinite(*value) ? fmt::format("{:.2f} s", *value) : "-";
}
std::string percent(const std::optional<double>& value) {
  return value && std::isfinite(*value) ? fmt::format("{:.1f} %", *value) : "-";
}

void meter_figures(Page& page, const ImplementRecord& implement) {
  if (implement.pairs.empty()) return;
  page.heading("METERS IN FIGURES (medians over the measured steps of the set rate)");
  const std::vector<std::size_t> widths = {27, 8, 9, 9, 10};
  page.row({"Element", "Steps", "Dead time", "Rise", "Overshoot", "Settled error"}, widths);
  for (const PairRecord& pair : implement.pairs) {
    const auto complete = std::count_if(pair.steps.begin(), pair.steps.end(),
                                        [](const StepRecord& step) { return step.complete; });
    page.row({fmt::format("{}: {}", pair.subject, pair.quantity), fmt::format("{}/{}", complete, pair.steps.size()),
              seconds(pair.dead_time_s), seconds(pair.rise_time_s), percent(pair.overshoot_pct),
              pair.settled_error_pct ? percent(pair.settled_error_pct) + " of range" : "-"},
             widths);
  }
}

void section_figures(Page& page, const ImplementRecord& implement) {
  if (implement.sections.empty()) return;
  page.heading("SECTIONS IN FIGURES (left to right in driving direction; o = outer quarter)");
  const std::vector<std::size_t> widths = {10, 9, 22, 22};
  page.row({"Section", "Width", "On: median, worst, n", "Off: median, worst, n", "Remarks"}, widths);
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
    page.row({fmt::format("{}{}", section.section, section.outer ? " o" : ""),
              section.width_mm ? fmt::format("{:.2f} m", *section.width_mm / 1000.0) : "-", delays(section.on),
              delays(section.off), remarks},
             widths);
  }
}

}  // namespace

std::string seeding_page(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  const SeedingRecord& seeding = all.seeding;
  Page page(options.unicode);
  std::string head = "SEEDING CHECK";
  if (all.rollcall && !all.rollcall->machine.empty()) head += ": " + all.rollcall->machine;
  page.item("", head);
  page.item("", fmt::format("{} to {} UTC ({}), {}", format_date_time(all.start), format_date_time(all.end),
                            format_span(all.end - all.start), counted(all.frames, "frame", "frames")));
  for (const std::string& file : report.files) page.item("Capture ", file);
  page.line();
  page.item("", kSeedingCaution);

  Tally tally;
  for (const CheckLine& line : seeding.lines) tally.add(line);
  for (const ImplementRecord& implement : seeding.implements)
    for (const CheckLine& line : implement.lines) tally.add(line);
  page.heading("ANSWER");
  if (all.nothing_read()) page.item("  * ", "The capture holds no CAN frame at all.");
  if (seeding.implements.empty())
    page.item("  * ",
              "No implement talked to a task controller here: rates, sections and totals are not shown on this bus.");
  const auto attention = [&](const std::vector<CheckLine>& lines) {
    for (const CheckLine& line : lines)
      if (line.verdict == Verdict::attention) page.item("  * ", fmt::format("{} [{}]", subject_of(line), line.code));
  };
  for (const ImplementRecord& implement : seeding.implements) attention(implement.lines);
  attention(seeding.lines);
  page.item("  * ", fmt::format("{} {} attention, {} {}, {} not shown on this bus.",
                                counted(tally.attention, "line", "lines"), tally.attention == 1 ? "needs" : "need",
                                tally.pass, tally.pass == 1 ? "passes" : "pass", tally.not_shown));
  SpanNs blind = 0;
  for (const BusSummary& bus : all.buses)
    for (const BlindSpan& span : bus.blind) blind += span.end - span.start;
  if (blind > 0)
    page.item("  * ", fmt::format("The recorder was blind for {} in all: nothing is measured across that.",
                                  format_span(blind)));
  for (const ImplementRecord& implement : seeding.implements) {
    page.heading("IMPLEMENT");
    page.item("  ", implement_words(all, implement));
    page.item("  ", implement.pool.empty()
                        ? "description: not known, so elements go by number; see tramlog devices --help"
                        : fmt::format("description: {}, {}", implement.source_words,
                                      counted(implement.pool.objects(), "object", "objects")));
    write_topics(page, implement.lines);
    meter_figures(page, implement);
    section_figures(page, implement);
  }
  if (!seeding.implements.empty() && !seeding.lines.empty()) page.heading("MACHINE");
  write_topics(page, seeding.lines);
  return page.take();
}

}  // namespace tramlog
