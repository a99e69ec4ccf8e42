// What evidence and causes look up in the same way.
#pragma once

#include <string>
#include <vector>

#include "exam/incidents.hpp"
#include "exam/words.hpp"

namespace tramlog {

/// Controllers of its bus that kept talking over the incident's first time. Only those with a rhythm count:
/// nobody can tell whether the others were there.
std::vector<std::size_t> unaffected(const Conclusions& found, const Incident& incident);

/// Indexes of the faults with this code.
std::vector<std::size_t> faults_with(const Conclusions& found, const std::string& code);

/// "3 dropouts, silent for 1.2 s, 4.1 s and 2.0 s".
std::string silence_lengths(const Conclusions& found, const std::vector<std::size_t>& dropouts);

}  // namespace tramlog
