// What stands at the head of everything that leaves the field: hours, place, names of captures.
#pragma once

#include <string>
#include <vector>

#include "report/format.hpp"
#include "report/page.hpp"

namespace tramlog {

/// The first lines of a page: what it is, of which machine, when, how much, hours, place, captures.
void head_page(Page& page, const Report& report, const char* what, const FormatOptions& options);
/// "Engine hours 1204.35 to 1205.10"; empty if nobody told them.
std::string hours_words(const MachineRecord& machine);
/// "Place 52.12346 N, 4.12346 W (where the machine was first)"; empty if it may not or cannot be told.
std::string place_words(const MachineRecord& machine, const FormatOptions& options);
/// "part 1 of 2, 12:12:25 to ..": of a slice; of many parts only how many. Empty: the capture is whole.
std::vector<std::string> slice_words(const Conclusions& all);
/// One for each capture: its name, if there is one, and its fingerprint.
std::vector<std::string> capture_words(const Report& report);

}  // namespace tramlog
