#include "parcel/capture_copy.hpp"

#include <utility>

namespace tramlog {

Result<CaptureCopy> CaptureCopy::create(const std::string& path) {
  auto writer = CaptureWriter::create(path);
  if (!writer) return writer.error();
  return CaptureCopy(std::move(*writer));
}

BusIndex CaptureCopy::bus_of(const Event& event) {
  const auto known = buses_.find(event.bus);
  if (known != buses_.end()) return known->second;
  // A bus that was not announced: its name is its number, as the reader would call it.
  writer_.add_bus({"bus" + std::to_string(event.bus), 0});
  return buses_.emplace(event.bus, static_cast<BusIndex>(buses_.size())).first->second;
}

void CaptureCopy::take(std::span<const Event> events) {
  for (const Event& event : events) take(event);
}

void CaptureCopy::take(const Event& event) {
  if (event.kind == EventKind::foreign) return;
  if (event.kind != EventKind::notice) {
    const BusIndex bus = bus_of(event);
    Event frame = event;
    frame.bus = bus;
    writer_.write_frame(frame, std::exchange(lost_[event.bus], 0));
    ++frames_;
    return;
  }
  if (const auto* info = std::get_if<BusInfo>(event.notice)) {
    if (buses_.contains(event.bus)) return;
    writer_.add_bus(*info);
    buses_.emplace(event.bus, static_cast<BusIndex>(buses_.size()));
  } else if (const auto* counters = std::get_if<Counters>(event.notice)) {
    writer_.write_counters(bus_of(event), event.time, *counters);
  } else if (const auto* link = std::get_if<LinkChange>(event.notice)) {
    writer_.write_link(bus_of(event), event.time, link->state);
  } else if (const auto* lost = std::get_if<FramesLost>(event.notice)) {
    lost_[event.bus] += lost->frames;
  } else if (const auto* note = std::get_if<RecorderNote>(event.notice)) {
    writer_.write_note(note->of_bus ? bus_of(event) : BusIndex{0}, event.time, *note);
  }
}

}  // namespace tramlog
