// The deterministic core: takes events in time order, from a wire or a file, and concludes. It asks no clock.
#pragma once

#include <deque>
#include <memory>
#include <optional>
#include <span>

#include "can/event.hpp"
#include "exam/cause_weights.hpp"
#include "exam/conclusions.hpp"
#include "exam/roster.hpp"
#include "implement/implement_watch.hpp"
#include "schema/schema.hpp"

namespace tramlog {

class Examiner {
 public:
  /// The schema tells nominal periods and the words for trouble codes; it must outlive the examiner.
  /// `implements`: limits of the seeding check-list, and device descriptions that are known beforehand.
  explicit Examiner(const Schema& schema = Schema::built_in(), ImplementOptions implements = {});
  ~Examiner();
  Examiner(const Examiner&) = delete;
  Examiner& operator=(const Examiner&) = delete;

  /// Events in time order. Small steps back (order among buses) are tolerated; larger ones are taken for a
  /// step of the recorder's clock, noted, and no silence is judged across them.
  void take(std::span<const Event> events);

  /// What is known at the time of the last event. Whatever is open ends there, so this is the last call.
  Conclusions conclude(const std::optional<Roster>& roster = std::nullopt);
  /// The same, with the user's own weights for the causes.
  Conclusions conclude(const std::optional<Roster>& roster, const CauseWeights& weights);

  class Impl;  // examiner_impl.hpp

 private:
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
