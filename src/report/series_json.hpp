// The keys `series` and `machine` of tramlog.report/1.
#pragma once

#include <string>

#include "report/seeding_json.hpp"

namespace tramlog {

/// What pictures are drawn from. Values of one line are written on one line: see dumped_report().
OrderedJson series_json(const Conclusions& all);
/// Hours and, if the user allows it, place.
OrderedJson machine_json(const Conclusions& all, bool place);

/// As dump(2), with the arrays of numbers of `series` on one line each, and a line break at the end.
std::string dumped_report(OrderedJson object);

}  // namespace tramlog
