// Which messages somebody looked at before a private parcel may carry them.
#pragma once

#include <cstddef>
#include <cstdint>

#include "can/can_id.hpp"

namespace tramlog {

/// Whether all that is in messages of this PGN is numbers and states of a machine, or is concealed by
/// PrivateRules. What no list names is not: a schema, ours or a user's, says how to read a message and not
/// whose business it is.
bool is_looked_at(Pgn pgn);

/// Bytes that may stay of a message between terminal and client (58880, 59136; ISO 11783-6) that begins with
/// this function: 8 where all of it is numbers and states, fewer where texts, labels, NAMEs or pictures
/// follow.
std::size_t harmless_terminal_bytes(Pgn pgn, std::uint8_t function);

/// The same for process data (51968) by its first byte; 0: what it carries is looked at as a whole (device
/// descriptions, structure labels).
std::size_t harmless_process_bytes(std::uint8_t first);

}  // namespace tramlog
