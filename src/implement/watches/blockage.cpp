// Signs of a blockage. The dictionary has no value for it (fact sheet, process data, 5.6): what can be seen indirectly is told.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "implement/line_tools.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {

extern const DeviceWatchKind blockage;

namespace {

constexpr std::uint16_t kActualSkips = 417, kAverageSkips = 418;  // ppm
constexpr std::uint16_t kFirstQuality = 415, kLastQuality = 424;
constexpr double kPpmOfPercent = 10'000;
constexpr std::size_t kMaxTracks = 512;  // rows

class Blockage final : public DeviceWatch {
 public:
  explicit Blockage(const Device& device) : device_(device) {}

  void on_value(const ProcessValue& value) override {
    const std::uint16_t ddi = value.variable.ddi;
    if (!value.by_device || ddi < kFirstQuality || ddi > kLastQuality) return;
    if (tracks_.size() >= kMaxTracks && !tracks_.contains(value.variable)) return;
    if (!device_.working().value_or(false)) return;
    Track& track = tracks_[value.variable];
    const auto raw = static_cast<double>(value.raw);
    ++track.count;
    track.sum += raw;
    if (track.count == 1 || raw > track.worst) {
      track.worst = raw;
      track.worst_at = value.at;
    }
    const bool skips = ddi == kActualSkips || ddi == kAverageSkips;
    if (!skips || raw <= device_.limits["blockage.skips_pct"] * kPpmOfPercent) return;
    if (moments_.size() < kMaxMoments && (track.told == 0))
      moments_.push_back({value.at, fmt::format("{}: {:.1f} % skips", device_.words(value.variable.element), raw / kPpmOfPercent)});
    ++track.told;
  }

  void conclude(TimeNs, ImplementRecord& out) override {
    CheckLine line = make_line("blockage.signs", "blockage", "", Verdict::not_shown, "");
    std::size_t rows = 0;
    double worst = 0, sum = 0;
    std::uint64_t count = 0;
    for (const auto& [variable, track] : tracks_) {
      if (variable.ddi != kActualSkips && variable.ddi != kAverageSkips) continue;
      ++rows;
      worst = std::max(worst, track.worst);
      sum += track.sum;
      count += track.count;
    }
    if (count == 0) {
      line.text =
          "Not shown on this bus: the data dictionary has no value for a blockage, and no seed quality (skips, DDI 417 or 418) is told. A "
          "flow that stops (meters) and sections in error are looked at above.";
      out.lines.push_back(std::move(line));
      return;
    }
    with(line, "worst_skips_pct", worst / kPpmOfPercent, 2);
    with(line, "mean_skips_pct", sum / static_cast<double>(count) / kPpmOfPercent, 2);
    line.verdict = moments_.empty() ? Verdict::pass : Verdict::attention;
    line.text = fmt::format("The data dictionary has no value for a blockage; of its signs, skips were {:.1f} % on average and {:.1f} % at worst at {} while working; limit {:.0f} %.",
                            sum / static_cast<double>(count) / kPpmOfPercent, worst / kPpmOfPercent, counted_words(rows, "element", "elements"),
                            device_.limits["blockage.skips_pct"]);
    line.moments = moments_;
    if (!moments_.empty()) line.start = moments_.front().at.time;
    out.lines.push_back(std::move(line));
  }

 private:
  struct Track {
    std::uint64_t count = 0, told = 0;
    double sum = 0, worst = 0;
    Mark worst_at;
  };
  const Device& device_;
  std::map<ProcessVariable, Track> tracks_;
  std::vector<Moment> moments_;
};

}  // namespace

const DeviceWatchKind blockage{"blockage", [](const Device& device) -> std::unique_ptr<DeviceWatch> {
                                 return std::make_unique<Blockage>(device);
                               }};

}  // namespace tramlog::watches
