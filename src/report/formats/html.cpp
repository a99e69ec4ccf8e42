// One page for the support desk and the technician's phone: the answer first, then pictures, then all of the
// evidence.
#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/findings_page.hpp"
#include "report/html/pictures.hpp"
#include "report/html/report_parts.hpp"
#include "report/seeding_page.hpp"

namespace tramlog::formats {

extern const Format html;

namespace {

std::string render_report(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  HtmlPage page = begin_page("Bus report", report, options);
  answer_part(page, answer_lines(report, {" below", crowded(all)}));
  main_findings_part(page, all);
  roll_call_part(page, all);
  pictures_part(page, all);
  notes_part(page, all);
  story_part(page, all);
  findings_part(page, all);
  dropouts_part(page, all);
  faults_part(page, all);
  trouble_codes_part(page, all);
  seeding_parts(page, all, false);
  transfers_part(page, all);
  controllers_part(page, all);
  buses_part(page, all);
  recorder_part(page, all);
  return page.take();
}

std::string render_rollcall(const Report& report, const FormatOptions& options) {
  HtmlPage page = begin_page("Roll call", report, options);
  answer_part(page, answer_lines(report, {": see tramlog report", crowded(report.found), false, false}));
  roll_call_part(page, report.found);
  notes_part(page, report.found);
  return page.take();
}

std::string render_seeding(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  HtmlPage page = begin_page("Seeding check", report, options);
  page.head(html_element("p", {{"class", "caution"}}, kSeedingCaution));
  answer_part(page, seeding_answers(all));
  if (const Html pictures = seeding_pictures(all); !pictures.empty()) {
    page.section("pictures", "In pictures");
    page.add(pictures);
  }
  seeding_parts(page, all, true);
  notes_part(page, all);
  return page.take();
}

}  // namespace

const Format html{"html", "one page for any browser, for phones and for print; needs nothing else",
                  render_report, render_rollcall, render_seeding};

}  // namespace tramlog::formats
