// A smaller capture out of a larger one: by time, and by controller. A slice is a capture in its own right:
// where a part of it begins is told (RecorderNote::Kind::cut) with whoever was known there (Kind::known), so
// that a report on it neither misses anybody nor believes that frames were lost.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "can/can_id.hpp"
#include "can/event.hpp"
#include "io/capture_writer.hpp"
#include "isobus/name.hpp"

namespace tramlog {

struct SliceSpan {
  TimeNs from = 0, to = 0;  // both inclusive
  bool operator==(const SliceSpan&) const = default;
};

/// Sorted, those that touch or lie less than `bridge` apart as one; those that end before they begin left
/// out.
std::vector<SliceSpan> joined_spans(std::vector<SliceSpan> spans, SpanNs bridge = 0);

/// Whose frames are wanted; empty: everybody's.
struct SliceChoice {
  struct Place {
    std::optional<BusIndex> bus;  // none: on any
    Address address = 0;
  };
  std::vector<Name> names;    // followed over changes of address
  std::vector<Place> places;  // whoever speaks from there
  bool everybody() const { return names.empty() && places.empty(); }
};

struct SlicePlan {
  std::vector<SliceSpan> spans;  // as joined_spans() gives them
  SliceChoice choice;
  std::string why;  // for the slice's first note: "around dropout 2"
  bool stand_ins = false;  // identity and serial numbers in it are no true ones; also if the source says so
};

struct SliceTally {
  std::uint64_t kept = 0, left_out = 0;  // frames, error frames and foreign packets
  std::uint64_t foreign = 0;  // .. of left_out: within the spans, but not to be written (no CAN frame)
  std::vector<std::uint64_t> by_span;  // kept
  std::optional<TimeNs> first, last;   // of all events of the source
};

/// Of the chosen controllers everything that they send and that is sent to them is kept, of the others a frame
/// now and then that shows that the bus lived, and besides what the
/// examiner must have to be right about them: address claims, requests and working sets of everybody, status
/// of task controllers, terminals and file servers, speed with key switch, engine speed, supply voltage,
/// identification; error frames and statistics.
///
/// Memory: bounded by who is on the bus.
class Slicer {
 public:
  /// The writer must outlive it; its interfaces are added here, and its errors are told by its own finish().
  Slicer(SlicePlan plan, CaptureWriter& out);
  ~Slicer();
  Slicer(const Slicer&) = delete;
  Slicer& operator=(const Slicer&) = delete;

  /// Events of the whole source in its order, from its begin.
  void take(std::span<const Event> events);
  /// The source has ended (or is not read on). Call once.
  SliceTally finish();

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
