// Bins and tanks: running low (DDIs 72/73, 75/76, 78/79 and 467; fact sheet, process data, 5.6).
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "implement/line_tools.hpp"
#include "implement/spell.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {

extern const DeviceWatchKind contents;

namespace {

constexpr std::uint16_t kPercent = 467;  // 0.01 %
constexpr std::size_t kMaxTracks = 64;
constexpr double kConfirmS = 5;        // a scale shakes: a lower reading than that is none
constexpr double kLeaveLow = 1.5;      // times the limit: low is over
constexpr double kInUseShare = 0.005;  // of the whole; less is a scale's drift
constexpr double kFillingShare = 0.2;  // of the whole
constexpr SpanNs kLookEvery = kSecond;
constexpr SpanNs kToldHolds = 10 * kSecond;  // a device that tells nothing for longer has gone

struct Kind {
  std::uint16_t actual, maximum;
};
constexpr Kind kKinds[] = {{72, 73}, {75, 76}, {78, 79}, {kPercent, 0}};

class Contents final : public DeviceWatch {
 public:
  explicit Contents(const Device& device) : device_(device), low_pct_(device.limits["content.low_pct"]) {}

  void on_value(const ProcessValue& value) override {
    if (!value.by_device) return;
    told_ = value.at.time;
    const auto kind = std::find_if(std::begin(kKinds), std::end(kKinds),
                                   [&](const Kind& k) { return k.actual == value.variable.ddi; });
    if (kind == std::end(kKinds)) return;
    if (tracks_.size() >= kMaxTracks && !tracks_.contains(value.variable)) {
      ++not_kept_;
      return;
    }
    Track& track = tracks_[value.variable];
    track.kind = kind;
    if (track.count++ == 0) {
      track.first = value;
      track.lowest = track.full_before = value.raw;
    }
    track.greatest = std::max(track.greatest, value.raw);
    track.last = value;
    const auto full = whole(value.variable, track);
    if (full) {
      const auto raw = static_cast<double>(value.raw), all = static_cast<double>(*full);
      if (raw - static_cast<double>(track.lowest) > kFillingShare * all) {
        ++track.fillings;
        track.lowest = track.full_before = value.raw;
      }
      // What goes down in the yard is emptied by hand.
      const bool works = device_.working().value_or(true);
      track.full_before = works ? std::max(track.full_before, value.raw) : value.raw;
      track.lowest = std::min(track.lowest, value.raw);
      if (static_cast<double>(track.full_before) - raw > kInUseShare * all) track.in_use = true;
    }
    judge(value.variable, track, value.at);
  }

  void on_time(TimeNs now) override {
    if (looked_ && span_between(*looked_, now) >= 0 && span_between(*looked_, now) < kLookEvery) return;
    looked_ = now;
    for (auto& [variable, track] : tracks_) judge(variable, track, {now, 0});
  }
  void on_blind() override {
    for (auto& [variable, track] : tracks_) track.low.forget();
  }
  void on_break(Mark) override { on_blind(); }

  void conclude(TimeNs end, ImplementRecord& out) override {
    if (tracks_.empty()) {
      out.lines.push_back(
          make_line("bin.low", "contents", "", Verdict::not_shown,
                    "Not shown on this bus: no bin tells its content (DDI 72, 75, 78 or 467)."));
      return;
    }
    for (const auto& [variable, track] : tracks_) out.lines.push_back(line_of(variable, track, end));
    if (not_kept_ > 0)
      out.lines.back().text +=
          fmt::format(" More than {} contents are told: {} of the others are not looked at.", kMaxTracks,
                      counted_words(not_kept_, "value", "values"));
  }

 private:
  struct Track {
    const Kind* kind = nullptr;
    std::uint64_t count = 0, fillings = 0;
    ProcessValue first, last;
    std::int64_t greatest = 0, lowest = 0,
                 full_before = 0;  // the latter since it was filled, or began to work
    bool in_use = false;           // it went down while the device worked
    bool is_low = false;
    Spell low;
  };

  /// The declared maximum; 100 % for a percentage; else the most that was seen.
  std::optional<std::int64_t> whole(ProcessVariable variable, const Track& track) const {
    if (const auto full = declared(variable, track)) return full;
    return track.greatest > 0 ? std::optional(track.greatest) : std::nullopt;
  }
  std::optional<std::int64_t> declared(ProcessVariable variable, const Track& track) const {
    if (variable.ddi == kPercent) return 10'000;
    const auto full = device_.value_of({variable.element, track.kind->maximum});
    return full && *full > 0 ? full : std::nullopt;
  }

  void judge(ProcessVariable variable, Track& track, Mark at) {
    const auto full = whole(variable, track);
    if (!full) return;
    const double pct = 100.0 * static_cast<double>(track.last.raw) / static_cast<double>(*full);
    track.is_low = pct < low_pct_ || (track.is_low && pct < kLeaveLow * low_pct_);
    if (!track.is_low) {
      track.low.good(at.time);
      return;
    }
    // A bin that is emptied in the yard, or that this crop does not need, is no trouble.
    const bool gone = !told_ || span_between(*told_, at.time) > kToldHolds;
    if (gone || !track.in_use || !device_.working().value_or(true)) {
      track.low.pass_over();
      return;
    }
    track.low.bad(at.time, at, kConfirmS, -pct, [&] {
      return fmt::format("{} of {}", device_.value_words(variable, track.last.raw),
                         device_.value_words(variable, *full));
    });
  }

  CheckLine line_of(ProcessVariable variable, const Track& track, TimeNs end) const {
    const auto same = std::count_if(tracks_.begin(), tracks_.end(), [&](const auto& other) {
      return other.first.element == variable.element;
    });
    std::string subject = device_.words(variable.element);
    if (same > 1) subject += fmt::format(" (DDI {})", variable.ddi);
    CheckLine line = make_line("bin.low", "contents", std::move(subject), Verdict::pass, "");
    line.element = variable.element;
    const auto full = whole(variable, track);
    const std::string way = fmt::format(
        "{} at {}, {} at {}{}", device_.value_words(variable, track.first.raw),
        time_of_day(track.first.at.time), device_.value_words(variable, track.last.raw),
        time_of_day(track.last.at.time),
        track.fillings == 0 ? ""
                            : fmt::format(", filled {}", counted_words(track.fillings, "time", "times")));
    with(line, "first_raw", static_cast<double>(track.first.raw), 0);
    with(line, "last_raw", static_cast<double>(track.last.raw), 0);
    if (!full) {
      line.verdict = Verdict::not_shown;
      line.text = fmt::format(
          "Not shown on this bus: a content is told ({}), but neither a maximum nor any content above zero.",
          way);
      return line;
    }
    with(line, "last_pct", 100.0 * static_cast<double>(track.last.raw) / static_cast<double>(*full), 1);
    const std::string of = fmt::format("{:.0f} % of {}{}", low_pct_, device_.value_words(variable, *full),
                                       declared(variable, track) ? "" : " (the highest content seen)");
    if (track.low.count() > 0) {
      line.verdict = Verdict::attention;
      line.text =
          fmt::format("Below {} {} while working, first at {} ({}), for {} at the longest{}: {}.", of,
                      counted_words(track.low.count(), "time", "times"), time_of_day(track.low.first()->time),
                      track.low.moments().front().text, seconds_words(track.low.longest_s(end)),
                      track.low.goes_on() ? " (until the recording's end)" : "", way);
      line.moments = track.low.moments();
      line.start = track.low.first()->time;
      line.end = track.low.end();
    } else if (track.count < 2) {
      line.verdict = Verdict::not_shown;
      line.text =
          fmt::format("Not shown on this bus: the content is told only once ({} at {}).",
                      device_.value_words(variable, track.first.raw), time_of_day(track.first.at.time));
    } else if (track.is_low && !track.in_use) {
      line.verdict = Verdict::not_shown;
      line.text = fmt::format(
          "Not shown on this bus: below {} and never going down while working ({}): not in use, or not "
          "measured.",
          of, way);
    } else {
      line.text = fmt::format("{}; never below {} while working.", way, of);
    }
    return line;
  }

  const Device& device_;
  double low_pct_;
  std::map<ProcessVariable, Track> tracks_;
  std::uint64_t not_kept_ = 0;
  std::optional<TimeNs> looked_, told_;
};

}  // namespace

const DeviceWatchKind contents{"contents", [](const Device& device) -> std::unique_ptr<DeviceWatch> {
                                 return std::make_unique<Contents>(device);
                               }};

}  // namespace tramlog::watches
