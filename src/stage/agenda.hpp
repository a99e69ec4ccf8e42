// What is to happen when: one queue in time order; equal times in the order of entry, so that a run repeats
// exactly.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <queue>
#include <vector>

#include "base/time.hpp"

namespace tramlog::stage {

class Agenda {
 public:
  enum class Kind : std::uint8_t { stream, bus, call };
  struct Entry {
    TimeNs at = 0;
    std::uint64_t order = 0;
    std::uint32_t index = 0;       // stream, bus or place of the call
    std::uint32_t generation = 0;  // stream: out of date if it does not match any more
    Kind kind = Kind::call;
  };
  using Call = std::function<void()>;

  TimeNs now() const { return now_; }

  void stream_at(TimeNs at, std::uint32_t stream, std::uint32_t generation) {
    push(at, Kind::stream, stream, generation);
  }
  void bus_at(TimeNs at, std::uint32_t bus) { push(at, Kind::bus, bus, 0); }
  void call_at(TimeNs at, Call call) {
    std::uint32_t place = 0;
    if (free_.empty()) {
      place = static_cast<std::uint32_t>(calls_.size());
      calls_.push_back(std::move(call));
    } else {
      place = free_.back();
      free_.pop_back();
      calls_[place] = std::move(call);
    }
    push(at, Kind::call, place, 0);
  }

  /// The next entry no later than `end`; time moves on to it.
  std::optional<Entry> next(TimeNs end) {
    if (queue_.empty() || queue_.top().at > end) return std::nullopt;
    const Entry entry = queue_.top();
    queue_.pop();
    now_ = entry.at;
    return entry;
  }
  Call take_call(std::uint32_t place) {
    Call call = std::move(calls_[place]);
    calls_[place] = nullptr;
    free_.push_back(place);
    return call;
  }

 private:
  struct Later {
    bool operator()(const Entry& a, const Entry& b) const {
      return a.at != b.at ? a.at > b.at : a.order > b.order;
    }
  };
  void push(TimeNs at, Kind kind, std::uint32_t index, std::uint32_t generation) {
    queue_.push({at < now_ ? now_ : at, ++order_, index, generation, kind});
  }

  std::priority_queue<Entry, std::vector<Entry>, Later> queue_;
  std::vector<Call> calls_;
  std::vector<std::uint32_t> free_;
  std::uint64_t order_ = 0;
  TimeNs now_ = 0;
};

}  // namespace tramlog::stage
