// The parts of the HTML report, each a section of the page; a part with nothing to tell adds nothing.
#pragma once

#include "report/format.hpp"
#include "report/html/html_page.hpp"

namespace tramlog {

/// A page with its head: machine, span, engine hours, place, captures.
HtmlPage begin_page(const char* kind, const Report& report, const FormatOptions& options);

/// Sentences of answer_lines(); their state words become badges.
void answer_part(HtmlPage& page, const std::vector<std::string>& lines);
void main_findings_part(HtmlPage& page, const Conclusions& all);
void roll_call_part(HtmlPage& page, const Conclusions& all);
void pictures_part(HtmlPage& page, const Conclusions& all);
void story_part(HtmlPage& page, const Conclusions& all);
/// Every finding with reasons, steps and evidence.
void findings_part(HtmlPage& page, const Conclusions& all);
void dropouts_part(HtmlPage& page, const Conclusions& all);
void faults_part(HtmlPage& page, const Conclusions& all);
void trouble_codes_part(HtmlPage& page, const Conclusions& all);
void transfers_part(HtmlPage& page, const Conclusions& all);
void controllers_part(HtmlPage& page, const Conclusions& all);
void buses_part(HtmlPage& page, const Conclusions& all);
void notes_part(HtmlPage& page, const Conclusions& all);
void recorder_part(HtmlPage& page, const Conclusions& all);

/// The check-list and figures of every implement. `whole`: also the lines that pass or are not shown.
void seeding_parts(HtmlPage& page, const Conclusions& all, bool whole);

/// "the first 600 of 2,000 are listed here; all stand in the JSON report"; nothing if all are.
Html not_listed_words(std::size_t listed, std::size_t all);

}  // namespace tramlog
