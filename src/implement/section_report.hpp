// What the lines about sections are made of: every installed section with its place, its tally and the delays
// that count.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "implement/layout.hpp"
#include "implement/line_tools.hpp"
#include "implement/section_boom.hpp"

namespace tramlog {

/// The delays of one section in one direction that may be judged.
struct JudgedDelays {
  std::vector<double> values;
  std::uint64_t count = 0;
  Spread spread;
  std::optional<Mark> worst_at;    // its command
  std::optional<Mark> first_late;  // the first beyond the limit
  /// Measured from the moment when the master state too was on, because it came on after the command.
  bool from_master = false;
};

struct SectionReport {
  SectionPlace place;
  std::string subject;  // "section 3", "section 3 of fertilizer boom"
  SectionTally tally;
  std::optional<JudgedDelays> on, off;
  double doubt_s = 0;  // a change may wait so long until it is told
};

/// By boom, then left to right; only sections that are described or told.
std::vector<SectionReport> section_reports(const Device& device, const std::vector<const SectionBoom*>& booms,
                                           TimeNs end);
SectionRecord record_of(const SectionReport& report);

}  // namespace tramlog
