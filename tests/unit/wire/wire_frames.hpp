// Frames for the tests of wire/, written byte by byte.
#pragma once

#include <deque>
#include <vector>

#include "can/can_id.hpp"
#include "can/event.hpp"

namespace tramlog::test {

/// Keeps the payloads that its events point to.
class Frames {
 public:
  Event operator()(TimeNs time, std::uint32_t id, std::vector<std::uint8_t> data,
                   unsigned flags = kExtendedId) {
    payloads_.push_back(std::move(data));
    Event event;
    event.time = time;
    event.id = id;
    event.data = payloads_.back().data();
    event.len = static_cast<std::uint8_t>(payloads_.back().size());
    event.flags = static_cast<std::uint8_t>(flags);
    return event;
  }
  Event error(TimeNs time, std::uint32_t classes,
              std::vector<std::uint8_t> data = std::vector<std::uint8_t>(8, 0)) {
    Event event = (*this)(time, classes, std::move(data), 0);
    event.kind = EventKind::error;
    return event;
  }

 private:
  std::deque<std::vector<std::uint8_t>> payloads_;
};

}  // namespace tramlog::test
