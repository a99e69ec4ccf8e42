// How far the known part of a message reaches: what stands behind it nobody looked at.
#pragma once

#include <algorithm>
#include <cstddef>
#include <limits>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

/// Fields of an identification message, each ended by '*' (fact sheet, diagnostics, 7.5), counted from 0.
struct TextFields {
  Pgn pgn;
  std::size_t count;
  std::size_t first_serial, last_serial;
};

/// Null for any other message.
const TextFields* text_fields(Pgn pgn);

/// Calls `use(offset, length)` with each field, without its '*'; the last one need not be ended.
template <class Use>
void for_each_text_field(Bytes data, Use use) {
  for (std::size_t begin = 0; begin < data.size();) {
    const auto rest = data.subspan(begin);
    const auto stop = std::find(rest.begin(), rest.end(), std::uint8_t{'*'});
    const auto length = static_cast<std::size_t>(stop - rest.begin());
    use(begin, length);
    begin += length + 1;
  }
}

inline constexpr std::size_t kAllBytes = std::numeric_limits<std::size_t>::max();

/// Bytes from the message's begin that its definition describes; may be more than there are. kAllBytes: other
/// rules say it (terminal, file server, process data, installation texts, software texts).
std::size_t known_bytes(Pgn pgn, Bytes data);

}  // namespace tramlog
