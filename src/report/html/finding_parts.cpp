// The findings with all that speaks for and against them, dropouts, faults, trouble codes.
#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/findings_page.hpp"
#include "report/html/report_parts.hpp"
#include "report/sentences.hpp"

namespace tramlog {
namespace {

// Of one list, on the page; a browser and a reader can do with that.
constexpr std::size_t kListedFindings = 40, kListedDropouts = 600, kListedFaults = 300, kListedCodes = 300;
constexpr std::size_t kListedEvidence = 12;    // of a fault
constexpr std::size_t kEvidenceOfFinding = 8;  // dropouts and faults under a finding

Html fault_link(std::size_t fault) {
  return Html("#fault-" + std::to_string(fault + 1));
}

Html severity_badge(Severity severity) {
  const Tone tone = severity == Severity::fault     ? Tone::trouble
                    : severity == Severity::warning ? Tone::notice
                                                    : Tone::plain;
  return html_badge(tone, severity_code(severity));
}

Html labelled_list(const char* label, const std::vector<std::string>& lines, bool numbered) {
  if (lines.empty()) return {};
  return html_element("h4", label) + html_list(std::vector<Html>(lines.begin(), lines.end()), numbered);
}

// The dropouts and faults that a finding explains, in sentences.
Html evidence_of(const Conclusions& all, const Finding& finding) {
  std::vector<Html> items;
  const std::size_t whole = finding.dropouts.size() + finding.faults.size() + finding.consequences.size();
  const auto room = [&] { return items.size() < kEvidenceOfFinding; };
  for (const std::size_t d : finding.dropouts)
    if (room()) items.push_back(dropout_words(all, all.dropouts[d]));
  const auto take = [&](const std::vector<std::size_t>& faults, const char* after) {
    for (const std::size_t f : faults) {
      if (!room()) return;
      const std::string time = format_time_of_day(all.faults[f].start);
      items.push_back((f < kListedFaults ? html_link(fault_link(f).code(), time) : Html(time)) + " " +
                      all.faults[f].text + after);
    }
  };
  take(finding.faults, "");
  take(finding.consequences, " (follows from it)");
  if (items.empty()) return {};
  const std::size_t listed = items.size();
  Html more;
  if (whole > listed)
    more = html_element(
        "p", {{"class", "soft"}},
        counted(whole - listed, "more dropout or fault belongs", "more dropouts and faults belong") +
            " to it: see the lists below.");
  return html_details("Evidence: " + counted(whole, "dropout or fault", "dropouts and faults"),
                      html_list(items) + more);
}

}  // namespace

Html not_listed_words(std::size_t listed, std::size_t all) {
  if (listed >= all) return {};
  return html_element(
      "p", fmt::format("The first {} of {} are listed here; all stand in the JSON report.", listed, all));
}

void findings_part(HtmlPage& page, const Conclusions& all) {
  if (all.findings.empty()) return;
  page.section("findings", "What most likely caused it");
  page.add(html_element("p", {{"class", "caution"}}, kWorkCaution));
  const std::size_t listed = std::min(all.findings.size(), kListedFindings);
  for (std::size_t i = 0; i < listed; ++i) {
    const Finding& finding = all.findings[i];
    const std::string number = std::to_string(i + 1);
    Html inside = html_element("h3", number + ". " + finding_words(all, i));
    inside += labelled_list("Because", finding.why, false);
    inside += labelled_list("Against it", finding.against, false);
    if (!finding.tell_apart.empty())
      inside += html_element("h4", "How to decide") + html_element("p", finding.tell_apart);
    inside += labelled_list("Look at, in this order", finding.next_steps, true);
    inside += evidence_of(all, finding);
    page.add(html_element("article", {{"id", "finding-" + number}}, inside));
  }
  page.add(not_listed_words(listed, all.findings.size()));
}

void dropouts_part(HtmlPage& page, const Conclusions& all) {
  HtmlTable table("From the last frame before to the first frame after",
                  {"Controller", "Last heard", "Silent for", "Missed", "Back", "Group", "Kind"});
  std::size_t whole = 0;
  for (const Dropout& d : all.dropouts) {
    if (d.kind == DropoutKind::power_down || ++whole > kListedDropouts) continue;
    const char* kind = d.kind == DropoutKind::bus_silent
                           ? (d.cause_unknown ? "all of the bus, cause unknown" : "all of the bus")
                           : "";
    table.row({voice_words(all, d.controller, d.address) + on_bus(all, d.bus), mark_words(d.start),
               format_span(d.judged_until - d.start.time), counted(d.messages_missed, "message", "messages"),
               d.end ? Html(mark_words(*d.end) + (d.reclaimed ? ", new address claim" : ""))
                     : html_badge(Tone::trouble, "not again"),
               d.group ? std::to_string(*d.group) : "", kind});
  }
  if (table.empty()) return;
  page.section("dropouts", "Dropouts");
  const Html content = table.html() + not_listed_words(table.rows(), whole);
  page.add(crowded(all) ? html_details("All " + counted(whole, "dropout", "dropouts"), content) : content);
}

void faults_part(HtmlPage& page, const Conclusions& all) {
  if (all.faults.empty()) return;
  page.section("faults", "Faults, warnings and notes");
  const std::size_t listed = std::min(all.faults.size(), kListedFaults);
  Html list;
  for (std::size_t i = 0; i < listed; ++i) {
    const Fault& fault = all.faults[i];
    Html inside = html_element("p", severity_badge(fault.severity) + " " + format_time_of_day(fault.start) +
                                        " " + fault.text + " " +
                                        html_element("span", {{"class", "soft"}}, "[" + fault.code + "]"));
    std::vector<Html> evidence;
    for (std::size_t e = 0; e < fault.evidence.size() && e < kListedEvidence; ++e)
      evidence.push_back(mark_words(fault.evidence[e].at) + ": " + fault.evidence[e].text);
    if (!evidence.empty())
      inside += html_details("Evidence: " + counted(fault.evidence.size(), "moment", "moments"),
                             html_list(evidence) + not_listed_words(evidence.size(), fault.evidence.size()));
    list += html_element("article", {{"id", "fault-" + std::to_string(i + 1)}}, inside) + Html::markup("\n");
  }
  list += not_listed_words(listed, all.faults.size());
  page.add(crowded(all) ? html_details("All " + std::to_string(all.faults.size()), list) : list);
}

void trouble_codes_part(HtmlPage& page, const Conclusions& all) {
  if (all.dtcs.empty()) return;
  HtmlTable table("As the controllers told them (SPN, FMI)",
                  {"Controller", "Code", "Meaning", "First active", "Last active", "Cleared", "Times"});
  for (const DtcRecord& d : all.dtcs) {
    if (table.rows() >= kListedCodes) break;
    table.row({voice_words(all, d.controller, d.address) + on_bus(all, d.bus),
               fmt::format("SPN {} FMI {}", d.dtc.spn, d.dtc.fmi),
               d.spn_text.value_or("text not known") + ": " + d.fmi_text,
               d.previously_active_only ? "before this recording" : mark_words(d.first_active),
               d.previously_active_only ? "" : mark_words(d.last_active),
               d.cleared ? mark_words(*d.cleared) : "",
               d.activations > 0 ? std::to_string(d.activations) : ""});
  }
  page.section("trouble-codes", "Trouble codes");
  page.add(table.html() + not_listed_words(table.rows(), all.dtcs.size()));
}

}  // namespace tramlog
