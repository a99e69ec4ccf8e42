// The seeding check-list for people.
#pragma once

#include <string>
#include <vector>

#include "report/format.hpp"

namespace tramlog {

/// What stands above every check-list: a run-up can hurt somebody, and figures do not replace calibration.
extern const char* const kSeedingCaution;

/// What needs attention and how many lines pass, one sentence each.
std::vector<std::string> seeding_answers(const Conclusions& all);
/// "section 12: Switch off late ..".
std::string check_line_words(const CheckLine& line);
/// Its name, address and bus.
std::string implement_words(const Conclusions& all, const ImplementRecord& implement);
/// Where its description came from.
std::string description_words(const ImplementRecord& implement);

/// Figures as they are shown, one row an element or section; no rows: none.
struct FigureTable {
  std::vector<std::string> columns;
  std::vector<std::vector<std::string>> rows;
};
FigureTable meter_figures(const ImplementRecord& implement);
FigureTable section_figures(const ImplementRecord& implement);

std::string seeding_page(const Report& report, const FormatOptions& options);

}  // namespace tramlog
