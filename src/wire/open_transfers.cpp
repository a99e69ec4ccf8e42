#include "wire/open_transfers.hpp"

namespace tramlog {
namespace {

constexpr Pgn kControl = 0xEC00, kData = 0xEB00, kExtendedControl = 0xC800, kExtendedData = 0xC700;
constexpr std::uint8_t kRts = 16, kCts = 17, kEnd = 19, kBroadcast = 32, kExtendedRts = 20, kExtendedCts = 21,
                       kExtendedOffset = 22, kExtendedEnd = 23, kAbort = 255;
constexpr SpanNs kBroadcastTimeout = 750 * kMillisecond, kConnectionTimeout = 1250 * kMillisecond;  // 5.1

}  // namespace

void OpenTransfers::hear(const Event& frame) {
  if (!frame.is_iso11783() || frame.len < 8) return;
  switch (pgn_of(frame.id)) {
    case kControl:
      return control(frame, false);
    case kExtendedControl:
      return control(frame, true);
    case kData:
      return data(frame, false);
    case kExtendedData:
      return data(frame, true);
    default:
      return;
  }
}

void OpenTransfers::control(const Event& frame, bool extended) {
  const Address from = source_of(frame.id), to = destination_of(frame.id);
  const Key forward{from, to, extended}, backward{to, from, extended};
  const auto refresh = [&](const Key& key) {
    if (const auto entry = entries_.find(key); entry != entries_.end()) entry->second.latest = frame.time;
  };
  switch (frame.data[0]) {
    case kRts:
    case kExtendedRts:
    case kBroadcast:
      if (entries_.size() >= kMost) forget_dead(frame.time);
      if (entries_.size() < kMost)
        entries_[forward] = {frame.time, frame.data[0] == kBroadcast ? frame.data[3] : 0u};
      return;
    case kCts:
    case kExtendedCts:
      return refresh(backward);
    case kExtendedOffset:
      return refresh(forward);
    case kEnd:
    case kExtendedEnd:
      entries_.erase(backward);
      return;
    case kAbort:  // by either side
      entries_.erase(forward);
      entries_.erase(backward);
      return;
    default:
      return;
  }
}

void OpenTransfers::data(const Event& frame, bool extended) {
  const auto entry = entries_.find({source_of(frame.id), destination_of(frame.id), extended});
  if (entry == entries_.end()) return;
  entry->second.latest = frame.time;
  if (entry->second.packets != 0 && frame.data[0] >= entry->second.packets) entries_.erase(entry);
}

bool OpenTransfers::lives(const Key& key, const Entry& entry, TimeNs now) {
  return span_between(entry.latest, now) <=
         (key.destination == kGlobalAddress ? kBroadcastTimeout : kConnectionTimeout);
}

bool OpenTransfers::is_open(Address source, Address destination, TimeNs now) const {
  for (const bool extended : {false, true}) {
    const auto entry = entries_.find({source, destination, extended});
    if (entry != entries_.end() && lives(entry->first, entry->second, now)) return true;
  }
  return false;
}

bool OpenTransfers::involves(Address address, TimeNs now) const {
  for (const auto& [key, entry] : entries_)
    if ((key.source == address || key.destination == address) && lives(key, entry, now)) return true;
  return false;
}

void OpenTransfers::forget_dead(TimeNs now) {
  std::erase_if(entries_, [&](const auto& item) { return !lives(item.first, item.second, now); });
}

}  // namespace tramlog
