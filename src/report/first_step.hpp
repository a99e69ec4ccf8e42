// What to measure, look at or swap first for a fault that no finding speaks for: a finding brings its own steps.
#pragma once

#include <string>

namespace tramlog {

/// One sentence for the code of a fault or of a line of the check-list (dotted); by its topic where the code has none of its
/// own. Null: nothing is known of that topic.
const char* first_step(const std::string& code);

}  // namespace tramlog
