#include "parcel/slice_cut.hpp"

#include <algorithm>

#include "isobus/identification.hpp"
#include "isobus/network.hpp"
#include "isobus/working_set.hpp"

namespace tramlog {
namespace {

constexpr Pgn kTpControl = 0xEC00, kTpData = 0xEB00;
constexpr std::uint8_t kRequestToSend = 16, kBroadcast = 32;

bool tells_who(Pgn pgn) {
  switch (pgn) {
    case kPgnAddressClaimed:
    case kPgnCommandedAddress:
    case kPgnWorkingSetMaster:
    case kPgnWorkingSetMember:
    case kPgnSoftwareIdentification:
    case kPgnEcuIdentification:
    case kPgnProductIdentification:
    case kPgnComponentIdentification:
    case kPgnFunctionalities:
      return true;
    default:
      return false;
  }
}

std::uint64_t line_of(BusIndex bus, Address source, Address destination) {
  return std::uint64_t{bus} << 16 | std::uint64_t{source} << 8 | destination;
}

}  // namespace

bool SliceCut::identifies(const Event& event) {
  if (!event.is_iso11783() || known_ >= kMaxKnown) return false;
  const Pgn pgn = pgn_of(event.id);
  const Address source = source_of(event.id), destination = destination_of(event.id);
  if (pgn == kTpControl && event.len == 8) {
    if (!tells_who(load_le24(event.data + 5))) return false;
    if (event.data[0] == kRequestToSend || event.data[0] == kBroadcast)
      packets_[line_of(event.bus, source, destination)] = event.data[3];
    return true;
  }
  if (pgn == kTpData) {
    const auto under_way = packets_.find(line_of(event.bus, source, destination));
    if (under_way == packets_.end()) return false;
    if (--under_way->second == 0) packets_.erase(under_way);
    return true;
  }
  return tells_who(pgn);
}

void SliceCut::tell_link(BusIndex bus, TimeNs time, LinkState state) {
  const Notice notice = LinkChange{state};
  Event event;
  event.kind = EventKind::notice;
  event.bus = bus;
  event.time = time;
  event.notice = &notice;
  copy_.take(event);
}

void SliceCut::close(TimeNs time) {
  for (const BusIndex bus : buses_) tell_link(bus, time, LinkState::paused);
  inside_ = false;
}

void SliceCut::take(std::span<const Event> events) {
  for (const Event& event : events) {
    const bool announces = event.kind == EventKind::notice && std::holds_alternative<BusInfo>(*event.notice);
    if (announces) {
      copy_.take(event);
      buses_.insert(event.bus);
      continue;
    }
    if (event.kind == EventKind::frame && event.flags & kUntimed) continue;
    while (at_ < spans_.size() && event.time > spans_[at_].to) {
      if (inside_) close(last_);
      ++at_;
    }
    if (at_ == spans_.size()) return;
    if (event.time >= spans_[at_].from) {
      if (!inside_)
        for (const BusIndex bus : buses_) tell_link(bus, event.time, LinkState::up);
      inside_ = true;
      last_ = std::max(last_, event.time);
      (void)identifies(event);  // one that goes on behind the span's end
      copy_.take(event);
    } else if (event.kind == EventKind::frame && identifies(event)) {
      ++known_;
      tell_link(event.bus, event.time, LinkState::up);
      copy_.take(event);
      tell_link(event.bus, event.time, LinkState::paused);
    }
  }
}

}  // namespace tramlog
