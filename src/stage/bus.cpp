#include "stage/bus.hpp"

#include <algorithm>
#include <utility>

namespace tramlog::stage {
namespace {

// A jammed bus must not grow memory without end: beyond this, senders lose frames.
constexpr std::size_t kMaxWaiting = 20'000;
// Error flag, its echo and the delimiter (fact sheet 9.2: 17 to 23 bits with the intermission).
constexpr unsigned kErrorFrameBits = 18;

}  // namespace

Bus::Bus(Agenda& agenda, std::uint32_t index, std::uint32_t bitrate, Callbacks callbacks)
    : agenda_(agenda), callbacks_(std::move(callbacks)), bit_ns_(kSecond / bitrate), index_(index) {}

void Bus::drop(Passenger passenger) {
  if (!passenger.hook) return;
  // Later, so that nobody is called back while he still hands over.
  agenda_.call_at(agenda_.now(), [hook = std::move(passenger.hook)] { hook(Sent{}); });
}

void Bus::send(Passenger passenger) {
  if (dead_ || waiting_.size() >= kMaxWaiting) return drop(std::move(passenger));
  std::uint32_t place = 0;
  const std::uint32_t key = arbitration_key(passenger.frame);
  if (free_.empty()) {
    place = static_cast<std::uint32_t>(places_.size());
    places_.push_back(std::move(passenger));
  } else {
    place = free_.back();
    free_.pop_back();
    places_[place] = std::move(passenger);
  }
  waiting_.push({key, ++order_, place});
  if (on_wire_ == kNobody && !scheduled_) {
    scheduled_ = true;
    agenda_.bus_at(std::max(agenda_.now(), free_at_), index_);
  }
}

void Bus::start_next() {
  while (!waiting_.empty()) {
    const std::uint32_t place = waiting_.top().place;
    waiting_.pop();
    Passenger& passenger = places_[place];
    if (!callbacks_.valid(passenger)) {
      free_.push_back(place);
      drop(std::move(passenger));
      continue;
    }
    passenger.begin = agenda_.now();
    on_wire_ = place;
    scheduled_ = true;
    unsigned bits = frame_length(passenger.frame).bits();
    hit_bit_ = callbacks_.hit ? callbacks_.hit(passenger, bits) : std::nullopt;
    if (hit_bit_) bits = *hit_bit_ + kErrorFrameBits;
    agenda_.bus_at(agenda_.now() + bits * bit_ns_, index_);
    return;
  }
}

void Bus::step() {
  scheduled_ = false;
  if (on_wire_ == kNobody) return start_next();
  if (hit_bit_) return end_spoiled();
  Passenger passenger = std::move(places_[on_wire_]);
  places_[on_wire_].hook = nullptr;
  free_.push_back(on_wire_);
  on_wire_ = kNobody;
  free_at_ = agenda_.now() + kIntermissionBits * bit_ns_;
  if (!waiting_.empty()) {
    scheduled_ = true;
    agenda_.bus_at(free_at_, index_);
  }
  if (dead_) return drop(std::move(passenger));
  callbacks_.done(passenger);
}

void Bus::end_spoiled() {
  const std::uint32_t place = on_wire_;
  const unsigned bit = *hit_bit_;
  hit_bit_.reset();
  on_wire_ = kNobody;
  free_at_ = agenda_.now() + kIntermissionBits * bit_ns_;
  if (!dead_ && callbacks_.spoiled(places_[place], bit)) {
    // With the number 0 it goes before its equals that came later.
    waiting_.push({arbitration_key(places_[place].frame), 0, place});
  } else {
    free_.push_back(place);
    drop(std::move(places_[place]));
  }
  if (!waiting_.empty()) {
    scheduled_ = true;
    agenda_.bus_at(free_at_, index_);
  }
}

void Bus::set_dead(bool dead) {
  dead_ = dead;
  if (!dead) return;
  while (!waiting_.empty()) {
    const std::uint32_t place = waiting_.top().place;
    waiting_.pop();
    free_.push_back(place);
    drop(std::move(places_[place]));
  }
}

}  // namespace tramlog::stage
