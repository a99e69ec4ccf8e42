#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"
#include "report/days.hpp"
#include "report/head.hpp"
#include "report/html/html_page.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kRows = 200;  // of what came

std::string minute(TimeNs time) {
  return format_time_of_day(time).substr(0, 5);
}

Html day_link(const DaysReport& report, const std::string& date) {
  return report.linked ? html_link(date + ".html", date) : Html(date);
}

// A strip of the days, one box each: filled where it came.
Html days_strip(const DaysReport& report, const AcrossDays& one) {
  constexpr std::size_t kBoxes = 62;
  if (report.days.size() > kBoxes) return {};
  std::string boxes;
  for (std::size_t i = 0; i < report.days.size(); ++i) {
    const bool came = std::find(one.dates.begin(), one.dates.end(), report.days[i].date) != one.dates.end();
    boxes +=
        fmt::format("<rect x=\"{}\" y=\"1\" width=\"8\" height=\"12\" fill=\"{}\" stroke=\"currentColor\"/>",
                    1 + 10 * i, came ? "currentColor" : "none");
  }
  std::string dates;
  for (const std::string& date : one.dates) dates += (dates.empty() ? "" : ", ") + date;
  return Html::markup(fmt::format("<svg viewBox=\"0 0 {0} 14\" width=\"{0}\" height=\"14\" role=\"img\" "
                                  "style=\"max-width:100%\"><title>",
                                  10 * report.days.size())) +
         Html(dates) + Html::markup("</title>" + boxes + "</svg>");
}

}  // namespace

std::string days_html(const DaysReport& report) {
  const std::string machine = report.days.empty() ? "" : report.days.back().machine;
  HtmlPage page("Several days", machine.empty() ? "Bus report" : machine);
  std::size_t captures = 0, wrong = 0;
  SpanNs blind = 0;
  const DayRecord* newest = nullptr;
  for (const DayRecord& day : report.days) {
    captures += day.capture_count;
    wrong += day.wrong;
    blind += day.blind;
    if (day.wrong) newest = &day;
  }
  if (!report.days.empty())
    page.head(html_facts({{"Days", fmt::format("{}, {} to {} (UTC)", report.days.size(),
                                               report.days.front().date, report.days.back().date)},
                          {"Captures", std::to_string(captures)}}));
  page.section("answer", "Answer");
  if (newest == nullptr) {
    page.add(html_element("p", html_badge(Tone::good, "in order") +
                                   Html(" Nothing wrong was found on the bus on any of the days.")));
  } else {
    page.add(html_element("p", html_badge(Tone::trouble, "trouble") +
                                   Html(fmt::format(" Something was wrong on {} of {} days, last on ", wrong,
                                                    report.days.size())) +
                                   day_link(report, newest->date) + Html(".")));
    if (!newest->main.empty()) page.paragraph(newest->main);
    if (!newest->step.empty()) page.paragraph("First: " + newest->step);
  }
  if (blind > 0)
    page.add(html_element(
        "p", html_badge(Tone::doubt, "recorder blind") +
                 Html(fmt::format(" for {} in all: nothing is said of the machine for that time.",
                                  format_span(blind)))));
  std::vector<Html> unreadable;
  for (const std::string& name : report.unreadable)
    unreadable.push_back(html_badge(Tone::notice, "not read") + Html(" " + name));
  page.add(html_list(unreadable));
  page.section("days", "Days, the newest first");
  HtmlTable days("Times in UTC", {"Day", "State", "From, to", "Driven", "Engine", "Dropouts", "Faults",
                                  "Warnings", "Notes", "Main finding"});
  for (auto day = report.days.rbegin(); day != report.days.rend(); ++day)
    days.row({day_link(report, day->date),
              (day->wrong ? html_badge(Tone::trouble, "trouble") : html_badge(Tone::good, "in order")) +
                  (day->damaged ? Html(" ") + html_badge(Tone::doubt, "damaged") : Html()),
              minute(day->start) + "-" + minute(day->end),
              day->worked > 0 ? format_span(day->worked) : std::string(), hours_words(day->hours),
              std::to_string(day->dropouts), std::to_string(day->faults), std::to_string(day->warnings),
              std::to_string(day->notes), day->main});
  page.add(days.html());
  std::size_t more = 0;
  const std::vector<AcrossDays> all = across_days(report, &more);
  if (!all.empty()) {
    page.section("troubles", "What came, the newest first");
    HtmlTable table("One box for each day, filled where it came",
                    {"What", "Days", "On", "Times", "First", "Last", "Latest"});
    for (const AcrossDays& one : all)
      if (table.rows() < kRows)
        table.row({one.words, days_strip(report, one),
                   fmt::format("{} of {}", one.dates.size(), report.days.size()), std::to_string(one.count),
                   day_link(report, one.dates.front()), day_link(report, one.dates.back()), one.latest});
    page.add(table.html());
    more += all.size() - table.rows();
    if (more > 0)
      page.paragraph(fmt::format("{} in the JSON report.", counted(more, "more stands", "more stand")));
  }
  return page.take();
}

}  // namespace tramlog
