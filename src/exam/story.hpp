// What happened in order, in at most a dozen lines: what a technician would tell of the day who had stood
// beside the machine. Told from conclusions alone, so that a recording and its replay tell the same.
#pragma once

#include <vector>

#include "exam/observations.hpp"

namespace tramlog {

inline constexpr std::size_t kStoryLines = 12;
/// Columns of a line's text in ASCII. With time, day and the number of a finding it fits 78 columns.
inline constexpr std::size_t kStoryColumns = 62;
inline constexpr std::size_t kStoryFindingColumns = 56;  // .. of one that belongs to a finding

/// By time. What does not fit is left out by importance: the beginning, main findings, the last shut-down and
/// the end always stay; the last line says how much was left out.
std::vector<StoryLine> tell_story(const Conclusions& all, const Observations& seen);

/// How many incidents are main findings: as many as a technician can look at before the next try.
inline constexpr std::size_t kMainIncidents = 3;

/// "start-up", "shut-down", .. as in the JSON report.
const char* phase_code(Phase phase);

}  // namespace tramlog
