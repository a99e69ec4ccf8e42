// Spans of a recording as one smaller capture whose report names the same controllers: what identifies them
// (address claims, working sets, software and other identification, device descriptions' senders) is kept
// from before the first span, too. Between the spans the recorder counts as paused, so nobody is called
// missing there.
#pragma once

#include <map>
#include <set>
#include <span>

#include "parcel/capture_copy.hpp"
#include "parcel/highlights.hpp"

namespace tramlog {

class SliceCut {
 public:
  static constexpr std::size_t kMaxKnown = 4000;  // frames kept from outside the spans

  /// `spans` are sorted; both outlive it.
  SliceCut(std::span<const TimeSpan> spans, CaptureCopy& copy) : spans_(spans), copy_(copy) {}
  void take(std::span<const Event> events);

 private:
  bool identifies(const Event& event);
  void tell_link(BusIndex bus, TimeNs time, LinkState state);
  void close(TimeNs time);

  std::span<const TimeSpan> spans_;
  CaptureCopy& copy_;
  std::size_t at_ = 0;
  bool inside_ = false;
  std::set<BusIndex> buses_;
  TimeNs last_ = 0;
  std::size_t known_ = 0;
  std::map<std::uint64_t, unsigned> packets_;  // of identifications under way: by bus, source, destination
};

}  // namespace tramlog
