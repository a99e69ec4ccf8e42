// Did the implement do what it was told: the check-list and its figures.
#include <fmt/format.h>

#include "exam/words.hpp"
#include "report/html/report_parts.hpp"
#include "report/seeding_page.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kListedImplements = 20;

Html verdict_badge(Verdict verdict) {
  return verdict == Verdict::attention ? html_badge(Tone::notice, "attention")
         : verdict == Verdict::pass    ? html_badge(Tone::good, "pass")
                                       : html_badge(Tone::doubt, "not shown");
}

void check_lines(HtmlPage& page, const std::vector<CheckLine>& lines, const Html& caption, bool whole) {
  HtmlTable table(caption, {"Topic", "Verdict", "What was measured", "Code"});
  for (const CheckLine& line : lines) {
    if (!whole && line.verdict != Verdict::attention) continue;
    Html words = check_line_words(line);
    if (line.verdict == Verdict::attention) {
      std::vector<Html> moments;
      for (const Moment& moment : line.moments) moments.push_back(mark_words(moment.at) + ": " + moment.text);
      words += html_list(moments);
    }
    table.row({line.topic, verdict_badge(line.verdict), words, line.code});
  }
  page.add(table.html());
}

void figures(HtmlPage& page, const Html& caption, const FigureTable& figures) {
  HtmlTable table(caption, figures.columns);
  for (const std::vector<std::string>& row : figures.rows)
    table.row(std::vector<Html>(row.begin(), row.end()));
  page.add(table.html());
}

}  // namespace

void seeding_parts(HtmlPage& page, const Conclusions& all, bool whole) {
  const SeedingRecord& seeding = all.seeding;
  const auto worth_telling = [&](const std::vector<CheckLine>& lines) {
    for (const CheckLine& line : lines)
      if (whole || line.verdict == Verdict::attention) return true;
    return false;
  };
  for (std::size_t i = 0; i < seeding.implements.size() && i < kListedImplements; ++i) {
    const ImplementRecord& implement = seeding.implements[i];
    page.section("implement-" + std::to_string(i + 1), "Implement " + implement_words(all, implement));
    page.paragraph(description_words(implement));
    if (worth_telling(implement.lines))
      check_lines(page, implement.lines, whole ? "The check-list" : "What needs attention", whole);
    figures(page, "Meters in figures: medians over the measured steps of the set rate",
            meter_figures(implement));
    figures(page, "Sections in figures: left to right in driving direction; o = outer quarter",
            section_figures(implement));
  }
  page.add(not_listed_words(std::min(seeding.implements.size(), kListedImplements),
                            seeding.implements.size() + seeding.implements_not_kept));
  if (!seeding.implements.empty() && worth_telling(seeding.lines)) {
    page.section("machine", "Machine");
    check_lines(page, seeding.lines, "Speed, positioning, units, task controllers", whole);
  }
}

}  // namespace tramlog
