// Which times of a capture are worth keeping: around what its report tells.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "exam/conclusions.hpp"
#include "slice/slicer.hpp"

namespace tramlog {

/// From `margin` before it begins to `margin` after it ends; of what lasts long only both its ends, so far on
/// both sides.
std::vector<SliceSpan> spans_of(TimeNs start, std::optional<TimeNs> end, SpanNs margin);

struct Around {
  std::vector<SliceSpan> spans;
  std::string why;  // "around dropout 2"
};

/// `what`: "dropouts", "faults", "findings", "notes", or one of them by its number in the report's JSON,
/// counted from 1: "dropouts:2". Fails for other words, and if the report has none.
Result<Around> spans_around(const Conclusions& all, std::string_view what, SpanNs margin);

}  // namespace tramlog
