// The findings in the report for people: the main ones first of all, later each with its reasons and steps;
// and what becomes of the other lists when there are very many of them.
#pragma once

#include <string>
#include <vector>

#include "exam/conclusions.hpp"
#include "report/page.hpp"

namespace tramlog {

/// More faults and dropouts than anybody reads: then the report counts instead of listing.
bool crowded(const Conclusions& all);

/// Which dropouts (else: faults) are counted under their finding and not listed again; none unless it is
/// crowded.
std::vector<bool> counted_under(const Conclusions& all, bool of_dropouts);

/// What stands before any step that touches the machine.
extern const char* const kWorkCaution;

/// "(likely) ..", and "(or, likely) .." for the second cause of one incident.
std::string finding_words(const Conclusions& all, std::size_t rank);
/// Ranks of the first findings of the most important incidents, at most kMainIncidents; `more`: how many
/// incidents follow.
std::vector<std::size_t> main_findings(const Conclusions& all, std::size_t* more = nullptr);
/// Faults and warnings that no finding speaks for, faults first; of each, those first that ask for other work
/// (report/first_step.hpp) than the ones before.
std::vector<std::size_t> loose_faults(const Conclusions& all);

/// "MAIN FINDINGS": the most important incidents; if they are fewer than three, faults that no finding speaks
/// for.
void main_findings_page(Page& page, const Conclusions& all);
/// "WHAT MOST LIKELY CAUSED IT", with the cautions.
void causes_page(Page& page, const Conclusions& all);

}  // namespace tramlog
