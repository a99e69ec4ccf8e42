// The recording in pictures, all on one time axis: who was there, supply voltage, bus load, rates, sections.
#pragma once

#include "exam/conclusions.hpp"
#include "report/html/html.hpp"

namespace tramlog {

/// Legend, lanes, and what was left out; nothing if nothing was heard.
Html day_pictures(const Conclusions& all);
/// The lanes of rates and sections alone, for the seeding check; nothing if there are none.
Html seeding_pictures(const Conclusions& all);

}  // namespace tramlog
