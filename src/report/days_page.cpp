#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/days.hpp"
#include "report/findings_page.hpp"
#include "report/page.hpp"
#include "report/text_limits.hpp"

namespace tramlog {
namespace {

// So many days and troubles are told with all their lines; of more the rest is counted.
constexpr std::size_t kDays = 31, kTroubles = 20;
constexpr std::size_t kBriefDays = 10, kBriefTroubles = 8, kBriefUnreadable = 3;

std::string minute(TimeNs time) {
  return format_time_of_day(time).substr(0, 5);
}

void title(Page& page, const DaysReport& report) {
  const DayRecord &first = report.days.front(), &last = report.days.back();
  std::size_t captures = 0;
  for (const DayRecord& day : report.days) captures += day.capture_count;
  const std::string what = fmt::format("BUS REPORT OF {} DAYS", report.days.size());
  page.item("", clipped_lines(last.machine.empty() ? what : what + ": " + last.machine, Page::kWidth, 1));
  page.item(
      "", fmt::format("{} to {} (UTC), {}", first.date, last.date, counted(captures, "capture", "captures")));
}

std::string count_words(const AcrossDays& one, std::size_t days) {
  const std::string times = one.count > one.dates.size() ? fmt::format(", {} times in all", one.count) : "";
  if (one.dates.size() == 1)
    return fmt::format("on 1 of {} days, {} {}{}", days, one.dates.front(), minute(one.first), times);
  return fmt::format("on {} of {} days, first {} {}, last {} {}{}", one.dates.size(), days, one.dates.front(),
                     minute(one.first), one.dates.back(), minute(one.last), times);
}

void answers(Page& page, const DaysReport& report, bool brief) {
  std::size_t wrong = 0;
  bool damaged = false;
  const DayRecord* newest = nullptr;
  for (const DayRecord& day : report.days) {
    wrong += day.wrong;
    damaged = damaged || day.damaged;
    if (day.wrong) newest = &day;
  }
  page.heading("ANSWER");
  if (newest == nullptr) {
    page.item("  * ",
              fmt::format("Nothing wrong was found {} on any of {} days.",
                          damaged ? "in what could be read" : "on the bus", report.days.size()));
  } else {
    page.item("  * ", fmt::format("Something was wrong on {} of {} days, last on {}.", wrong,
                                  report.days.size(), newest->date));
    if (!newest->main.empty())
      page.item("  * ", clipped_lines(fmt::format("{}: {}", newest->date, newest->main), 74, 3));
    if (!newest->step.empty()) {
      page.item("    First: ", clipped_lines(newest->step, 67, 2));
      page.item("    ", kWorkCaution);
    }
  }
  SpanNs blind = 0;
  for (const DayRecord& day : report.days) blind += day.blind;
  if (blind > 0)
    page.item("  * ",
              fmt::format("RECORDER BLIND  for {} in all: nothing is said of the machine for that time.",
                          format_span(blind)));
  const std::size_t told =
      brief ? std::min(kBriefUnreadable, report.unreadable.size()) : report.unreadable.size();
  for (std::size_t i = 0; i < told; ++i)
    page.item("  * ", clipped_lines("LEFT OUT  " + report.unreadable[i], 74, 1));
  if (told < report.unreadable.size())
    page.item("  * ", fmt::format("{} left out, too.", counted(report.unreadable.size() - told,
                                                               "more file is", "more files are")));
}

void table(Page& page, const DaysReport& report, bool brief) {
  page.heading("DAYS, THE NEWEST FIRST (times in UTC)");
  const std::vector<std::size_t> widths = {11, 12, 11, 6, 8};
  page.row({"Day", "From, to", "Driven", "Drop-", "Faults,", "Main finding"}, widths);
  page.row({"", "", "", "outs", "warn.", ""}, widths);
  const std::size_t most = brief ? kBriefDays : kDays;
  std::size_t told = 0;
  for (auto day = report.days.rbegin(); day != report.days.rend() && told < most; ++day, ++told) {
    std::string what = day->main.empty() ? (day->wrong ? "see its report" : "nothing wrong") : day->main;
    if (day->damaged) what = "(damaged) " + what;
    page.row({day->date, minute(day->start) + "-" + minute(day->end),
              day->worked > 0 ? format_span(day->worked) : "-", std::to_string(day->dropouts),
              fmt::format("{}, {}", day->faults, day->warnings), clipped_lines(what, 30, brief ? 1 : 3)},
             widths);
  }
  if (told < report.days.size())
    page.item("  ", fmt::format("{} before them.",
                                counted(report.days.size() - told, "more day lies", "more days lie")));
}

void troubles(Page& page, const DaysReport& report, bool brief) {
  std::size_t more = 0;
  const std::vector<AcrossDays> all = across_days(report, &more);
  if (all.empty()) return;
  page.heading("WHAT CAME, THE NEWEST FIRST");
  const std::size_t told = std::min(all.size(), brief ? kBriefTroubles : kTroubles);
  for (std::size_t i = 0; i < told; ++i)
    page.item("  * ",
              clipped_lines(fmt::format("{}: {}.", all[i].words, count_words(all[i], report.days.size())), 74,
                            brief ? 2 : 3));
  more += all.size() - told;
  if (more > 0)
    page.item("  ", fmt::format("{} in the JSON report.", counted(more, "more stands", "more stand")));
}

}  // namespace

std::string days_page(const DaysReport& report, bool brief, const FormatOptions& options) {
  Page page(options.unicode && !brief);
  if (report.days.empty()) {
    page.item("", "No day could be read.");
    return page.take();
  }
  title(page, report);
  answers(page, report, brief);
  table(page, report, brief);
  troubles(page, report, brief);
  page.heading("MORE");
  page.item(
      "  ",
      fmt::format(
          "One day's own report: tramlog report --day {} FOLDER; all of them as linked pages: tramlog report "
          "--format html -o NEW-FOLDER FOLDER.",
          report.days.back().date));
  return page.take();
}

}  // namespace tramlog
