// A told value against the minimum and maximum that the device declares for it, while it works: blower speed, pressure.
#pragma once

#include <map>
#include <optional>
#include <vector>

#include "implement/watch.hpp"

namespace tramlog {

/// DDIs of one quantity; 0: the dictionary has none.
struct RangeQuantity {
  std::uint16_t actual = 0, set = 0, minimum = 0, maximum = 0;
  const char* words = "";  // "revolutions"
};

/// What is said of a whole topic.
struct RangeTopic {
  const char* code = "";
  const char* topic = "";
  const char* settle_key = "";         // limit in s for which it may be outside
  const char* tolerance_key = nullptr; // limit in % against a set value; null: none is judged
  const char* absent = "";             // what would have to be on the bus
};

class RangeWatch final : public DeviceWatch {
 public:
  static constexpr std::size_t kMaxTracks = 64;
  RangeWatch(const Device& device, const RangeTopic& topic, std::vector<RangeQuantity> quantities)
      : device_(device), topic_(topic), quantities_(std::move(quantities)) {}

  void on_value(const ProcessValue& value) override;
  void on_speed(Mark at) override;
  void on_blind() override;
  void on_break(Mark) override { on_blind(); }
  void conclude(TimeNs end, ImplementRecord& out) override;

 private:
  enum class Side : std::uint8_t { below, above, off_set };
  struct Spell {
    std::optional<Mark> since;
    bool told = false;
    std::uint64_t count = 0;
    double longest_s = 0;
    std::vector<Moment> moments;
    std::optional<TimeNs> end;
  };
  struct Track {
    const RangeQuantity* quantity = nullptr;
    std::uint16_t element = 0;
    std::int64_t raw = 0;
    std::uint64_t count = 0, judged = 0;
    std::int64_t least = 0, greatest = 0;  // while working
    bool judgeable = false;
    Spell spells[3];
  };
  void judge(Track& track, Mark at);
  void advance(Spell& spell, bool bad, Mark at, const Track& track, const std::string& words);
  std::optional<std::int64_t> bound(const Track& track, std::uint16_t ddi) const;

  const Device& device_;
  RangeTopic topic_;
  std::vector<RangeQuantity> quantities_;
  std::map<ProcessVariable, Track> tracks_;
};

}  // namespace tramlog
