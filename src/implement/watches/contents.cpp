// Bins and tanks: running low (DDIs 72/73, 75/76, 78/79 and 467; fact sheet, process data, 5.6).
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "implement/line_tools.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {

extern const DeviceWatchKind contents;

namespace {

constexpr std::uint16_t kPercent = 467;  // 0.01 %
constexpr std::size_t kMaxTracks = 64;

struct Kind {
  std::uint16_t actual, maximum;
};
constexpr Kind kKinds[] = {{72, 73}, {75, 76}, {78, 79}, {kPercent, 0}};

class Contents final : public DeviceWatch {
 public:
  explicit Contents(const Device& device) : device_(device) {}

  void on_value(const ProcessValue& value) override {
    if (!value.by_device) return;
    const auto kind = std::find_if(std::begin(kKinds), std::end(kKinds),
                                   [&](const Kind& k) { return k.actual == value.variable.ddi; });
    if (kind == std::end(kKinds)) return;
    if (tracks_.size() >= kMaxTracks && !tracks_.contains(value.variable)) return;
    Track& track = tracks_[value.variable];
    track.kind = kind;
    if (track.count++ == 0) track.first = value;
    track.greatest = std::max(track.greatest, value.raw);
    track.last = value;
    const auto full = whole(value.variable, track);
    const bool low = full && *full > 0 &&
                     100.0 * static_cast<double>(value.raw) < device_.limits["content.low_pct"] * static_cast<double>(*full);
    if (low && !track.low) {
      ++track.times;
      if (track.moments.size() < kMaxMoments)
        track.moments.push_back({value.at, fmt::format("{} of {}", device_.value_words(value.variable, value.raw),
                                                       device_.value_words(value.variable, *full))});
    }
    if (!low && track.low) track.end = value.at.time;
    track.low = low;
  }

  void conclude(TimeNs, ImplementRecord& out) override {
    if (tracks_.empty()) {
      out.lines.push_back(make_line("bin.low", "contents", "", Verdict::not_shown,
                                    "Not shown on this bus: no bin tells its content (DDI 72, 75, 78 or 467)."));
      return;
    }
    for (const auto& [variable, track] : tracks_) {
      CheckLine line = make_line("bin.low", "contents", device_.words(variable.element), Verdict::pass, "");
      line.element = variable.element;
      const auto full = whole(variable, track);
      const std::string way = fmt::format("{} at {}, {} at {}", device_.value_words(variable, track.first.raw),
                                          time_of_day(track.first.at.time), device_.value_words(variable, track.last.raw),
                                          time_of_day(track.last.at.time));
      if (!full || *full <= 0) {
        line.verdict = Verdict::not_shown;
        line.text = fmt::format("Not shown on this bus: a content is told ({}), but neither a maximum nor any content above zero.", way);
      } else if (track.times == 0) {
        line.text = fmt::format("{}; never below {:.0f} % of {}.", way, device_.limits["content.low_pct"], device_.value_words(variable, *full));
      } else {
        line.verdict = Verdict::attention;
        line.text = fmt::format("Below {:.0f} % of {} since {}{}: {}.", device_.limits["content.low_pct"],
                                device_.value_words(variable, *full), time_of_day(track.moments.front().at.time),
                                track.low ? "" : " (filled again later)", way);
        line.moments = track.moments;
        line.start = track.moments.front().at.time;
        if (!track.low) line.end = track.end;
      }
      with(line, "first_raw", static_cast<double>(track.first.raw), 0);
      with(line, "last_raw", static_cast<double>(track.last.raw), 0);
      out.lines.push_back(std::move(line));
    }
  }

 private:
  struct Track {
    const Kind* kind = nullptr;
    std::uint64_t count = 0, times = 0;
    ProcessValue first, last;
    std::int64_t greatest = 0;
    bool low = false;
    std::optional<TimeNs> end;
    std::vector<Moment> moments;
  };
  /// The declared maximum; 100 % for a percentage; else the most that was seen.
  std::optional<std::int64_t> whole(ProcessVariable variable, const Track& track) const {
    if (variable.ddi == kPercent) return 10'000;
    const auto declared = device_.value_of({variable.element, track.kind->maximum});
    return declared && *declared > 0 ? declared : track.greatest > 0 ? std::optional(track.greatest) : std::nullopt;
  }

  const Device& device_;
  std::map<ProcessVariable, Track> tracks_;
};

}  // namespace

const DeviceWatchKind contents{"contents", [](const Device& device) -> std::unique_ptr<DeviceWatch> {
                                 return std::make_unique<Contents>(device);
                               }};

}  // namespace tramlog::watches
