// What a sink keeps of each Talk for as long as its names stay what they are.
#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <vector>

#include "decode/interpreter.hpp"

namespace tramlog {

template <class Kept>
class TalkMemory {
 public:
  /// What is kept of the Talk; made by `make(talk)` at first sight and whenever its generation has changed.
  /// The Talk that stands for all beyond the cap is made anew each time. Valid until the next call.
  template <class Make>
  Kept& of(const Talk& talk, Make make) {
    if (talk.slot >= Interpreter::kMaxTalks) return spare_.emplace(make(talk));
    if (talk.slot >= places_.size())
      places_.resize(std::max<std::size_t>(talk.slot + std::size_t{1}, places_.size() * 2));
    Place& place = places_[talk.slot];
    if (!place.kept || place.generation != talk.generation) {
      place.kept.emplace(make(talk));
      place.generation = talk.generation;
    }
    return *place.kept;
  }

 private:
  struct Place {
    std::uint32_t generation = 0;
    std::optional<Kept> kept;
  };
  std::vector<Place> places_;  // by slot
  std::optional<Kept> spare_;
};

}  // namespace tramlog
