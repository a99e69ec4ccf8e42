// Positioning: fix lost or below the method it usually has, with times (PGN 129029; fact sheet, signals, 3).
#include <fmt/format.h>

#include <array>

#include "implement/line_tools.hpp"
#include "implement/watch.hpp"

namespace tramlog::machine {

extern const MachineWatchKind positioning;

namespace {

constexpr Pgn kPositionData = 129029;
constexpr Pgn kPositionRapid = 129025;  // B1-4 latitude, B5-8 longitude; 7FFFFFFF: not available
constexpr std::uint64_t kRegular = 5;

/// Rank of a method (B32 bits 8-5): none, fix, differential, precise, RTK float, RTK fixed. Others are no fix to drive by.
int rank_of(unsigned method) {
  switch (method) {
    case 1:
      return 1;
    case 2:
      return 2;
    case 3:
      return 3;
    case 5:
      return 4;
    case 4:
      return 5;
    default:
      return 0;
  }
}
constexpr const char* kRankWords[] = {"no fix", "GNSS fix", "differential", "precise", "RTK float", "RTK fixed"};

class Positioning final : public MachineWatch {
 public:
  explicit Positioning(const MachineContext& context) : context_(context) {}

  void on_message(const Message& message) override {
    const Mark at{message.start, message.first_frame};
    if (message.pgn == kPositionData && message.data.size() >= 43) {
      has_quality_ = true;
      take(at, rank_of(message.data[31] >> 4), message.data[33]);
    } else if (message.pgn == kPositionRapid && message.data.size() >= 8 && !has_quality_) {
      const bool valid = load_le32(message.data.data()) < 0x7FFFFFFD || load_le32(message.data.data()) > 0x80000000;
      take(at, valid ? 1 : 0, 255);
    }
  }

  void on_time(TimeNs now) override { silence(now); }
  void on_blind() override { pause_ = true; }

  void conclude(TimeNs end, std::vector<CheckLine>& lines) override {
    silence(end);
    if (count_ < kRegular) {
      for (const char* code : {"position.lost", "position.degraded"})
        lines.push_back(make_line(code, "positioning", "", Verdict::not_shown,
                                  "Not shown on this bus: no position (PGN 129029 or 129025)."));
      return;
    }
    close(lost_, end);
    close(degraded_, end);
    add_line(lines, "position.lost", lost_, "Without a valid fix", context_.limits["position.lost_s"],
             "Never without a valid fix for more than {}.");
    if (!has_quality_) {
      lines.push_back(make_line("position.degraded", "positioning", "", Verdict::not_shown,
                                "Not shown on this bus: the receiver does not tell its method (PGN 129029)."));
      return;
    }
    const int usual = usual_rank();
    if (usual <= 1) {
      lines.push_back(make_line("position.degraded", "positioning", "", Verdict::pass,
                                fmt::format("The method was {} most of the time: there is no better one to fall from.", kRankWords[usual])));
      return;
    }
    add_line(lines, "position.degraded", degraded_, fmt::format("Below {}, its usual method,", kRankWords[usual]),
             context_.limits["position.degraded_s"], fmt::format("Never below {} for more than {{}}.", kRankWords[usual]));
  }

 private:
  struct Track {
    std::optional<Mark> since;
    bool told = false;
    std::uint64_t count = 0;
    double longest_s = 0;
    std::optional<TimeNs> end;
    std::vector<Moment> moments;
  };

  /// The best method that was in force for at least a tenth of the time so far.
  int usual_rank() const {
    SpanNs all = 0;
    for (const SpanNs span : time_in_) all += span;
    for (int rank = 5; rank > 0; --rank)
      if (time_in_[static_cast<std::size_t>(rank)] * 10 >= all && time_in_[static_cast<std::size_t>(rank)] > 0) return rank;
    return 0;
  }

  void take(Mark at, int rank, unsigned satellites) {
    if (last_ && !pause_) {
      const SpanNs span = at.time - last_->time;
      if (span > 0 && span < 5 * kSecond) time_in_[static_cast<std::size_t>(rank_)] += span;
    }
    pause_ = false;
    ++count_;
    last_ = at;
    rank_ = rank;
    const std::string with_satellites = satellites <= 252 ? fmt::format(", {} satellites", satellites) : "";
    judge(lost_, rank == 0, at, context_.limits["position.lost_s"], std::string(kRankWords[rank]) + with_satellites);
    const int usual = usual_rank();
    judge(degraded_, has_quality_ && rank > 0 && rank < usual, at, context_.limits["position.degraded_s"],
          fmt::format("{} instead of {}{}", kRankWords[rank], kRankWords[usual], with_satellites));
  }

  void silence(TimeNs now) {
    if (count_ < kRegular || !last_ || pause_) return;
    const double quiet = to_seconds(now - last_->time);
    if (quiet > context_.limits["position.lost_s"]) judge(lost_, true, *last_, 0, "no position message any more", now);
  }

  void judge(Track& track, bool bad, Mark at, double limit_s, const std::string& words, std::optional<TimeNs> now = {}) {
    if (!bad) {
      if (track.told) track.end = at.time;
      if (track.told && track.since) track.longest_s = std::max(track.longest_s, to_seconds(at.time - track.since->time));
      track.since.reset();
      track.told = false;
      return;
    }
    if (!track.since) track.since = at;
    const double length = to_seconds(now.value_or(at.time) - track.since->time);
    if (!track.told && length >= limit_s) {
      track.told = true;
      ++track.count;
      if (track.moments.size() < kMaxMoments) track.moments.push_back({*track.since, words});
    }
    if (track.told) track.longest_s = std::max(track.longest_s, length);
  }

  void close(Track& track, TimeNs end) {
    if (!track.told || !track.since) return;
    track.longest_s = std::max(track.longest_s, to_seconds(end - track.since->time));
    track.end.reset();
  }

  void add_line(std::vector<CheckLine>& lines, const char* code, const Track& track, std::string what, double limit_s,
                const std::string& fine) {
    if (track.count == 0) {
      lines.push_back(make_line(code, "positioning", "", Verdict::pass, fmt::format(fmt::runtime(fine), seconds_words(limit_s))));
      return;
    }
    CheckLine line = make_line(code, "positioning", "", Verdict::attention,
                               fmt::format("{} {}, first at {} ({}), for {} at the longest; limit {}.", what,
                                           counted_words(track.count, "time", "times"), time_of_day(track.moments.front().at.time),
                                           track.moments.front().text, seconds_words(track.longest_s), seconds_words(limit_s)));
    with(line, "times", static_cast<double>(track.count), 0);
    with(line, "longest_s", track.longest_s);
    line.moments = track.moments;
    line.start = track.moments.front().at.time;
    line.end = track.end;
    lines.push_back(std::move(line));
  }

  const MachineContext& context_;
  std::uint64_t count_ = 0;
  std::optional<Mark> last_;
  int rank_ = 0;
  bool has_quality_ = false, pause_ = false;
  std::array<SpanNs, 6> time_in_{};
  Track lost_, degraded_;
};

}  // namespace

const MachineWatchKind positioning{"positioning", [](Pgn pgn) { return pgn == kPositionData || pgn == kPositionRapid; },
                                   [](const MachineContext& context) -> std::unique_ptr<MachineWatch> {
                                     return std::make_unique<Positioning>(context);
                                   }};

}  // namespace tramlog::machine
