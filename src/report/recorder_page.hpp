// What the recorder told of itself, as text and JSON.
#pragma once

#include <nlohmann/json.hpp>

#include "exam/conclusions.hpp"
#include "report/page.hpp"
#include "report/sentences.hpp"

namespace tramlog {

/// The technician's notes, runs, clock; nothing if there is nothing to tell.
void recorder_page(Page& page, const Conclusions& all);
/// Runs, clock and what else the recorder noted, without the technician's notes; before each its time of day, or nothing.
std::vector<LabelledText> recorder_lines(const Conclusions& all);
/// Key `recorder` of tramlog.report/1: runs[], notes[], clock; null if nothing was told.
nlohmann::ordered_json recorder_json(const Conclusions& all);

}  // namespace tramlog
