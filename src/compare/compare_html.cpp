#include <fmt/format.h>

#include "compare/compare.hpp"
#include "compare/words.hpp"
#include "exam/words.hpp"
#include "report/html/html_page.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kRows = 500;  // of one verdict

Tone tone_of(Change change) {
  return change == Change::worse ? Tone::trouble : change == Change::better ? Tone::good : Tone::notice;
}

std::string value(const ChangeLine& line, const std::optional<double>& number) {
  if (!number) return {};
  return line.unit.empty() ? fmt::format("{:.0f}", *number) : fmt::format("{:.2f} {}", *number, line.unit);
}

Html verdict_badge(const Comparison& comparison) {
  const std::string verdict = verdict_of(comparison);
  if (verdict == "worse") return html_badge(Tone::trouble, "worse");
  if (verdict == "better") return html_badge(Tone::good, "better");
  return verdict == "same" ? html_badge(Tone::good, "nothing changed")
                           : html_badge(Tone::notice, "different");
}

}  // namespace

std::string compare_html(const Comparison& comparison) {
  const std::string machine = machine_of(comparison);
  HtmlPage page("Comparison", machine.empty() ? "Two recordings" : machine);
  page.head(html_facts({{"Before", comparison.before.called + ": " + side_words(comparison.before)},
                        {"After", comparison.after.called + ": " + side_words(comparison.after)}}));
  page.section("answer", "Answer");
  page.add(html_element("p", verdict_badge(comparison) + Html(" ") + Html(verdict_words(comparison))));
  std::vector<Html> worst;
  for (const std::string& words : worst_words(comparison)) worst.push_back(Html(words));
  page.add(html_list(worst));
  page.paragraph(compared_words(comparison));
  std::vector<Html> doubts;
  for (const std::string& doubt : comparison.doubts)
    doubts.push_back(html_badge(Tone::doubt, "doubt") + Html(" " + doubt));
  page.add(html_list(doubts));
  constexpr const char* kPlaces[] = {"worse", "better", "changed", "other"};
  constexpr const char* kTitles[] = {"Worse", "Better", "Changed, and no fault", "Otherwise different"};
  for (const Change change : {Change::worse, Change::better, Change::noted, Change::other}) {
    const std::size_t count = comparison.count(change);
    if (count == 0) continue;
    const auto index = static_cast<std::size_t>(change);
    page.section(kPlaces[index], kTitles[index]);
    HtmlTable table(counted(count, "difference", "differences"),
                    {"Who or what", "Verdict", "What", "Before", "After"});
    for (const ChangeLine& line : comparison.lines) {
      if (line.change != change || table.rows() >= kRows) continue;
      const Html verdict = line.too_short ? html_badge(Tone::doubt, "too short to tell")
                                          : html_badge(tone_of(change), change_code(change));
      table.row({line.subject.empty() ? line.topic : line.subject, verdict, line.text,
                 value(line, line.before), value(line, line.after)});
    }
    page.add(table.html());
    if (count > kRows)
      page.paragraph(
          fmt::format("{} in the JSON comparison.", counted(count - kRows, "more stands", "more stand")));
  }
  return page.take();
}

}  // namespace tramlog
