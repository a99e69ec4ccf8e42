#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"
#include "report/days.hpp"
#include "report/findings_page.hpp"
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

std::string when_words(const DayRecord& day) {
  std::string words = minute(day.start) + "-" + minute(day.end);
  if (day.worked > 0) words += ", driven " + format_span(day.worked);
  if (const std::string hours = hours_words(day.hours); !hours.empty()) words += ", " + hours;
  return words;
}

// Only what there was.
std::string counts_words(const DayRecord& day) {
  std::string words;
  const auto add = [&](std::size_t count, const char* one, const char* many) {
    if (count > 0) words += (words.empty() ? "" : ", ") + counted(count, one, many);
  };
  add(day.dropouts, "dropout", "dropouts");
  add(day.faults, "fault", "faults");
  add(day.warnings, "warning", "warnings");
  add(day.notes, "note", "notes");
  return words;
}

std::string on_words(const DaysReport& report, const AcrossDays& one) {
  const std::string on = fmt::format("{} of {} days", one.dates.size(), report.days.size());
  return one.count > one.dates.size() ? fmt::format("{}, {} times", on, one.count) : on;
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
  bool damaged = false;
  const DayRecord* newest = nullptr;
  for (const DayRecord& day : report.days) {
    captures += day.capture_count;
    wrong += day.wrong;
    blind += day.blind;
    damaged = damaged || day.damaged;
    if (day.wrong) newest = &day;
  }
  if (!report.days.empty())
    page.head(html_facts({{"Days", fmt::format("{}, {} to {} (UTC)", report.days.size(),
                                               report.days.front().date, report.days.back().date)},
                          {"Captures", std::to_string(captures)}}));
  page.section("answer", "Answer");
  if (newest == nullptr) {
    page.add(html_element("p", html_badge(Tone::good, "in order") +
                                   Html(fmt::format(" Nothing wrong was found {} on any of the days.",
                                                    damaged ? "in what could be read" : "on the bus"))));
  } else {
    page.add(html_element("p", html_badge(Tone::trouble, "trouble") +
                                   Html(fmt::format(" Something was wrong on {} of {} days, last on ", wrong,
                                                    report.days.size())) +
                                   day_link(report, newest->date) + Html(".")));
    if (!newest->main.empty()) page.paragraph(newest->main);
    if (!newest->step.empty()) {
      page.paragraph("First: " + newest->step);
      page.add(html_element("p", {{"class", "caution"}}, kWorkCaution));
    }
  }
  if (blind > 0)
    page.add(html_element(
        "p", html_badge(Tone::doubt, "recorder blind") +
                 Html(fmt::format(" for {} in all: nothing is said of the machine for that time.",
                                  format_span(blind)))));
  std::vector<Html> unreadable;
  for (const std::string& name : report.unreadable)
    unreadable.push_back(html_badge(Tone::notice, "left out") + Html(" " + name));
  page.add(html_list(unreadable));
  page.section("days", "Days, the newest first");
  HtmlTable days("Times in UTC", {"Day", "State", "When", "Counted", "Main finding"});
  for (auto day = report.days.rbegin(); day != report.days.rend(); ++day)
    days.row({day_link(report, day->date),
              (day->wrong ? html_badge(Tone::trouble, "trouble") : html_badge(Tone::good, "in order")) +
                  (day->damaged ? Html(" ") + html_badge(Tone::doubt, "damaged") : Html()),
              when_words(*day), counts_words(*day), day->main});
  page.add(days.html());
  std::size_t more = 0;
  const std::vector<AcrossDays> all = across_days(report, &more);
  if (!all.empty()) {
    page.section("troubles", "What came, the newest first");
    HtmlTable table("One box for each day, filled where it came",
                    {"What", "Days", "On", "First", "Last", "The latest"});
    for (const AcrossDays& one : all)
      if (table.rows() < kRows)
        table.row({one.words, days_strip(report, one), on_words(report, one),
                   day_link(report, one.dates.front()), day_link(report, one.dates.back()), one.latest});
    page.add(table.html());
    more += all.size() - table.rows();
    if (more > 0)
      page.paragraph(fmt::format("{} in the JSON report.", counted(more, "more stands", "more stand")));
  }
  return page.take();
}

}  // namespace tramlog
