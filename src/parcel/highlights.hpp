// Which moments of a recording are worth sending along as slices of it, the most important first, and how
// much of each fits into so many bytes.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "exam/conclusions.hpp"
#include "slice/slicer.hpp"

namespace tramlog {

struct Highlight {
  TimeNs from = 0, to = 0;  // of what happened
  std::string what;         // "finding 1", "dropout 3: begin", "note of the technician"
};

inline constexpr std::size_t kMaxHighlights = 400;

/// First each finding's beginning, by rank; then dropouts, faults, warnings, the technician's notes, the
/// start-up (first minute), at last notes of the checks. What lasts longer than two minutes counts with its
/// begin and its end.
std::vector<Highlight> highlights_of(const Conclusions& found);

/// Frames a second, so that the size of a slice can be foretold.
class Density {
 public:
  static constexpr std::size_t kMaxSteps = 200'000;
  Density(TimeNs start, TimeNs end);
  void add(TimeNs time);
  /// Once, behind the last add().
  void close();
  std::uint64_t frames_in(TimeNs from, TimeNs to) const;
  TimeNs start() const { return start_; }
  TimeNs end() const { return end_; }

 private:
  std::size_t step_of(TimeNs time) const;
  TimeNs start_, end_;
  SpanNs step_;
  std::vector<std::uint64_t> frames_;  // of each step; once closed: of all before it, too
};

struct HighlightPlan {
  std::vector<SliceSpan> spans;  // sorted, none touches another
  std::vector<SpanNs> margins;  // of each highlight; < 0: left out
  std::uint64_t frames = 0;     // about
  std::size_t left_out = 0, shortened = 0;
  bool whole = false;  // it is the whole recording
};

inline constexpr SpanNs kMargins[] = {1 * kSecond, 5 * kSecond, 20 * kSecond, 60 * kSecond};

/// Every highlight in turn gets the least margin while there is room; what room is left widens them, the most
/// important first.
HighlightPlan plan_slices(std::span<const Highlight> highlights, const Density& density,
                      std::uint64_t room_frames);

}  // namespace tramlog
