// The mark of slices whose identity and serial numbers are stand-ins: a cut's note holds it among the chosen
// (RecorderNote::Kind::cut).
#pragma once

#include "can/event.hpp"

namespace tramlog {

inline constexpr std::size_t kChosenBytes = 9;  // of each entry of a cut's data

inline void mark_stand_ins(RecorderNote& cut) {
  (cut.data += 'P').append(kChosenBytes - 1, '\0');
}

/// True for the notes of a private parcel's slices, whatever else they hold.
inline bool tells_stand_ins(const RecorderNote& note) {
  if (note.kind != RecorderNote::Kind::cut) return false;
  for (std::size_t at = 0; at + kChosenBytes <= note.data.size(); at += kChosenBytes)
    if (note.data[at] == 'P') return true;
  return false;
}

}  // namespace tramlog
