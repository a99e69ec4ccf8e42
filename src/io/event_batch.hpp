// Events of one go, and the notices they point to.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

#include "can/event.hpp"

namespace tramlog {

class EventBatch {
 public:
  static constexpr std::size_t kEvents = 256;  // 12 KiB, stays in the first-level cache
  /// One block may yield this many events.
  static constexpr std::size_t kRoomPerBlock = 40;

  EventBatch() { notices_.reserve(kEvents + kRoomPerBlock); }
  EventBatch(const EventBatch&) = delete;  // events point into it
  EventBatch& operator=(const EventBatch&) = delete;

  void clear(std::uint64_t next_number) {
    count_ = 0;
    notices_.clear();
    next_number_ = next_number;
  }
  bool empty() const { return count_ == 0; }
  bool has_room() const { return count_ < kEvents; }
  std::span<const Event> events() const { return {events_.data(), count_}; }

  /// Of the packet that comes next.
  std::uint64_t next_number() const { return next_number_; }

  /// For a loop that writes frames straight to next(), up to limit(), numbers them, and then says how far it
  /// got.
  Event* next() { return events_.data() + count_; }
  Event* limit() { return events_.data() + kEvents; }
  void took(const Event* past_last) {
    const auto count = static_cast<std::size_t>(past_last - events_.data());
    next_number_ += count - count_;
    count_ = count;
  }

  Event& add_packet() {
    Event& event = events_[count_++];
    event = Event{};
    event.number = next_number_++;
    return event;
  }

  void add_notice(TimeNs time, BusIndex bus, Notice notice) {
    if (notices_.size() == notices_.capacity()) return;  // cannot be: a block stays within its room
    notices_.push_back(std::move(notice));
    Event& event = events_[count_++];
    event = Event{};
    event.kind = EventKind::notice;
    event.time = time;
    event.bus = bus;
    event.notice = &notices_.back();
  }

 private:
  std::array<Event, kEvents + kRoomPerBlock> events_;
  std::vector<Notice> notices_;
  std::size_t count_ = 0;
  std::uint64_t next_number_ = 1;
};

}  // namespace tramlog
