// A told value against the minimum and maximum that the device declares for it, and against its set value,
// while the device works: blower speed, pressures.
#pragma once

#include <map>
#include <optional>
#include <vector>

#include "implement/spell.hpp"
#include "implement/watch.hpp"

namespace tramlog {

/// DDIs of one quantity; 0: the dictionary has none.
struct RangeQuantity {
  std::uint16_t actual = 0, set = 0, minimum = 0, maximum = 0;
  const char* words = "";  // "speed"
};

/// What is said of a whole topic.
struct RangeTopic {
  const char* code = "";
  const char* topic = "";
  const char* settle_key = "";          // limit in s for which it may be outside
  const char* tolerance_key = nullptr;  // limit in % against a set value; null: none is judged
  const char* unit_key = "";            // of the dictionary's unit, at the end of the figures' keys: "rpm"
  const char* absent = "";              // what would have to be on the bus
};

class RangeWatch final : public DeviceWatch {
 public:
  static constexpr std::size_t kMaxTracks = 64;
  /// A device that told nothing at all for longer has gone: what it told last is no longer so.
  static constexpr SpanNs kToldHolds = 10 * kSecond;

  RangeWatch(const Device& device, const RangeTopic& topic, std::vector<RangeQuantity> quantities);

  void on_value(const ProcessValue& value) override;
  void on_speed(Mark at) override { look(at); }
  void on_time(TimeNs now) override { look({now, 0}); }
  void on_blind() override;
  void on_break(Mark) override { on_blind(); }
  void conclude(TimeNs end, ImplementRecord& out) override;

 private:
  enum Side : std::size_t { kBelow, kAbove, kOffSet, kSides };
  struct Track {
    const RangeQuantity* quantity = nullptr;
    std::uint16_t element = 0;
    std::int64_t raw = 0;
    std::uint64_t count = 0, worked = 0;   // values; those that came while it worked
    std::int64_t least = 0, greatest = 0;  // while working
    std::optional<std::int64_t> minimum, maximum, set;
    double judged_s = 0;  // working, with something to hold it against
    Spell spells[kSides];
  };
  void look(Mark at);
  void judge(Track& track, Mark at, double passed_s);
  std::optional<std::int64_t> bound(const Track& track, std::uint16_t ddi) const;
  std::string shown(const Track& track, std::int64_t raw) const;
  std::string declared_words(const Track& track) const;
  std::string spell_words(const Track& track, Side side, TimeNs end) const;
  CheckLine line_of(const Track& track, TimeNs end) const;

  const Device& device_;
  RangeTopic topic_;
  std::vector<RangeQuantity> quantities_;
  double settle_s_, tolerance_pct_;
  std::map<ProcessVariable, Track> tracks_;
  std::uint64_t not_kept_ = 0;  // values of further elements
  std::optional<TimeNs> looked_, told_;
};

}  // namespace tramlog
