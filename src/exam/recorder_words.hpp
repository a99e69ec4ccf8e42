// What the recorder noted, in words.
#pragma once

#include <string>

#include "can/event.hpp"

namespace tramlog {

/// "mark", "run-begins", ..; stable, for programs.
const char* note_code(RecorderNote::Kind kind);
/// One sentence without a full stop: "the technician's note: seed hose refitted".
std::string note_words(const RecorderNote& note);

}  // namespace tramlog
