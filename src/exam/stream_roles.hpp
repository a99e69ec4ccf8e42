// What is known beforehand about the pace of a message: from the schema, and what depends on more than the
// PGN (fact sheet, network and diagnostics, 6.1 to 6.8, 7.2).
#pragma once

#include "base/time.hpp"
#include "can/can_id.hpp"
#include "schema/schema.hpp"

namespace tramlog {

enum class PaceRole : std::uint8_t {
  learned,  // nothing known: only a long and plain rhythm proves that it is cyclic
  cyclic,   // must come all the time at its nominal period while its controller runs
  never,    // on request, on change, while active, or part of a transfer: its silence says nothing
};

struct StreamRole {
  PaceRole pace = PaceRole::learned;
  SpanNs nominal_period = 0;  // cyclic only
  SpanNs silence_limit = 0;   // cyclic only: the partners' timeout of the standard; 0 = by the period
};

/// For a 29-bit identifier as it is on the bus.
StreamRole role_of(const Schema& schema, std::uint32_t id);

/// Messages that the examiner reads (all others only count towards their stream's pace).
bool is_subscribed(Pgn pgn);

}  // namespace tramlog
