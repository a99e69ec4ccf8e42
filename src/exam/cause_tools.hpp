// What several causes look up in the same way.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "exam/conclusions.hpp"
#include "exam/words.hpp"

namespace tramlog {

/// Dropouts that share one group number, or a single one; the same controllers again later, in the same
/// manner, belong to it too: one cause, several times.
struct DropoutEvent {
  std::vector<std::size_t> dropouts;     // indexes, of all times
  std::vector<std::size_t> controllers;  // indexes, sorted, without unclaimed voices
  std::vector<Mark> times;               // last frame before, of each time
  Mark start;                            // of the first time
  SpanNs spread = 0;                     // within how long they fell silent, the first time
  bool all_returned = true;
  bool all_reclaimed = true;
  bool none_reclaimed = true;
};
/// "at 12:12:30.956 (frame 4532) and 2 more times".
std::string times_words(const DropoutEvent& event);

/// The events of this kind, by time.
std::vector<DropoutEvent> dropout_events(const Conclusions& found, DropoutKind kind);

/// Controllers that kept talking over the event's first time. Only those with a rhythm count: nobody can tell
/// whether the others were there.
std::vector<std::size_t> unaffected(const Conclusions& found, const DropoutEvent& event);

/// Indexes of the faults with this code, optionally only those that name the controller.
std::vector<std::size_t> faults_with(const Conclusions& found, const std::string& code);

/// "3 dropouts, silent for 1.2 s, 4.1 s and 2.0 s".
std::string silence_lengths(const Conclusions& found, const std::vector<std::size_t>& dropouts);

/// Trouble codes by which other controllers complain that they miss the one at `address` (SPN 2000 + address
/// with FMI 9 or 19; fact sheet, network and diagnostics, 3.3, 10.3). Indexes into dtcs.
std::vector<std::size_t> complaints_about(const Conclusions& found, Address address);

}  // namespace tramlog
