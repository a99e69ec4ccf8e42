// Positioning: fix lost or below the method it usually has, with times (PGN 129029, else 129025 and 65267;
// fact sheet, signals, 3).
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "implement/line_tools.hpp"
#include "implement/spell.hpp"
#include "implement/watch.hpp"
#include "isobus/position.hpp"

namespace tramlog::machine {

extern const MachineWatchKind positioning;

namespace {

constexpr Pgn kQuality = 129029, kRapid = 129025, kVehiclePosition = 0xFEF3;  // 65267
constexpr std::uint64_t kRegular = 5;
// Of several receivers the first one counts until it has been quiet for so long, as for speeds.
constexpr SpanNs kSenderHolds = 5 * kSecond;
// A longer pause between two positions is not counted to the method before it: the slowest are told every 5
// s.
constexpr SpanNs kLongestStretch = 6 * kSecond;
constexpr double kUsualShare = 0.1;  // the best method with this share of the time is the usual one

enum Rank : unsigned { kNoFix, kFix, kDifferential, kPrecise, kFloat, kFixed, kRanks };
constexpr const char* kRankWords[] = {"no fix",  "GNSS fix",  "differential",
                                      "precise", "RTK float", "RTK fixed"};

struct Fix {
  unsigned rank = kNoFix;
  const char* words = kRankWords[kNoFix];
  bool unsafe = false;
  std::optional<unsigned> satellites;
};

bool in_degrees(std::int64_t value, std::int64_t limit) {
  return value >= -limit && value <= limit;
}

/// Method: B32 bits 8-5; integrity: B33 bits 2-1; satellites: B34; latitude: B8-B15, 1e-16 degrees.
Fix parse_quality(Bytes data) {
  Fix fix;
  const auto rank = [&](Rank r) {
    fix.rank = r;
    fix.words = kRankWords[r];
  };
  switch (data[31] >> 4) {
    case 0:
      break;
    case 1:
      rank(kFix);
      break;
    case 2:
      rank(kDifferential);
      break;
    case 3:
      rank(kPrecise);
      break;
    case 4:
      rank(kFixed);
      break;
    case 5:
      rank(kFloat);
      break;
    case 6:
      fix.words = "estimated, without a fix";
      break;
    case 7:
      fix.words = "put in by hand, without a fix";
      break;
    case 8:
      fix.words = "simulated, without a fix";
      break;
    case 14:
      fix.words = "receiver in error";
      break;
    default: {
      // Not told: a position that is there is a fix of some kind.
      const std::int64_t latitude =
          static_cast<std::int64_t>(load_le32(data.data() + 7)) |
          static_cast<std::int64_t>(static_cast<std::int32_t>(load_le32(data.data() + 11))) *
              (std::int64_t{1} << 32);
      if (in_degrees(latitude, 900'000'000'000'000'000)) rank(kFix);
    }
  }
  fix.unsafe = (data[32] & 3) == 3;
  if (data[33] <= 252) fix.satellites = data[33];
  return fix;
}

class Positioning final : public MachineWatch {
 public:
  explicit Positioning(const MachineContext& context)
      : context_(context),
        working_mm_s_(context.limits["speed.working_mm_s"]),
        lost_s_(context.limits["position.lost_s"]),
        degraded_s_(context.limits["position.degraded_s"]) {}

  void on_message(const Message& message) override {
    const Mark at{message.start, message.first_frame};
    heard_ = heard_ ? std::max(*heard_, message.start) : message.start;
    const Bytes data = message.data;
    if (message.pgn == kQuality && data.size() >= 43 && quality_.accepts(message)) {
      has_quality_ = true;
      take(at, parse_quality(data));
    } else if (message.pgn == kRapid && data.size() >= 8 && rapid_.accepts(message)) {
      take_plain(at, parse_position(kRapid, data).has_value());
    } else if (message.pgn == kVehiclePosition && data.size() >= 8 && !rapid_.spoke &&
               vehicle_.accepts(message)) {
      take_plain(at, parse_position(kVehiclePosition, data).has_value());
    }
  }

  void on_time(TimeNs now) override {
    if (count_ < kRegular || !last_) return;
    const Mark since = blind_ ? Mark{now, 0} : silent_from_.value_or(*last_);
    blind_ = false;
    silent_from_ = since;
    const double limit = std::max(lost_s_, 3 * rhythm_s_);
    // Nobody else is heard either: the bus is asleep, or the recording is at its end.
    if (to_seconds(span_between(since.time, now)) <= limit || !heard_ ||
        to_seconds(span_between(since.time, *heard_)) <= limit)
      return;
    if (!matters(now) && !lost_.goes_on()) return;
    lost_.bad(now, since, limit, 0, [] { return std::string("no position message any more"); });
  }

  void on_blind() override {
    blind_ = deaf_ = true;
    silent_from_.reset();
    lost_.forget();
    degraded_.forget();
  }

  void conclude(TimeNs end, std::vector<CheckLine>& lines) override {
    std::string absent;
    if (count_ == 0)
      absent = "Not shown on this bus: no position (PGN 129029, 129025 or 65267).";
    else if (count_ < kRegular)
      absent = fmt::format("Not shown on this bus: only {} (PGN 129029, 129025 or 65267).",
                           counted_words(count_, "position", "positions"));
    else if (judged_s() < lost_s_ && lost_.count() == 0)
      absent = fmt::format(
          "Not shown on this bus: {} told, but none for {} while an implement worked or the machine drove.",
          counted_words(count_, "position is", "positions are"), seconds_words(lost_s_));
    if (!absent.empty()) {
      for (const char* code : {"position.lost", "position.degraded"})
        lines.push_back(make_line(code, "positioning", "", Verdict::not_shown, absent));
      return;
    }
    const std::string shares = share_words();
    add_line(lines, "position.lost", lost_, end, lost_s_, "Without a valid fix",
             fmt::format("Never without a valid fix for more than {} in {} of work{}.",
                         seconds_words(lost_s_), seconds_words(judged_s()), shares));
    if (!has_quality_) {
      lines.push_back(
          make_line("position.degraded", "positioning", "", Verdict::not_shown,
                    "Not shown on this bus: the receiver does not tell its method (PGN 129029)."));
      return;
    }
    const unsigned usual = usual_rank();
    add_line(lines, "position.degraded", degraded_, end, degraded_s_,
             fmt::format("Below the usual method ({}), or said to be unsafe,", kRankWords[usual]),
             usual <= kFix
                 ? fmt::format("The method was {} throughout: there is no better one to fall from{}.",
                               kRankWords[usual], shares)
                 : fmt::format("Never below {} for more than {}{}.", kRankWords[usual],
                               seconds_words(degraded_s_), shares));
  }

 private:
  struct Holder {
    std::optional<Address> who;
    std::optional<TimeNs> spoke;
    bool accepts(const Message& message) {
      if (who && *who != message.source) {
        const SpanNs quiet = span_between(*spoke, message.start);
        if (quiet >= 0 && quiet < kSenderHolds) return false;
      }
      who = message.source;
      spoke = message.start;
      return true;
    }
  };

  /// While work is on; where no implement tells that, while the machine drives or nobody tells a speed.
  bool matters(TimeNs now) const {
    if (const auto work = context_.any_work_on()) return *work;
    const auto speed = context_.machine.speed_mm_s(now);
    return !speed || *speed >= working_mm_s_;
  }

  double judged_s() const {
    double all = 0;
    for (const double span : time_in_) all += span;
    return all;
  }
  unsigned usual_rank() const {
    const double all = judged_s();
    for (unsigned rank = kFixed; rank > kNoFix; --rank)
      if (time_in_[rank] > 0 && time_in_[rank] >= kUsualShare * all) return rank;
    return kNoFix;
  }

  void take_plain(Mark at, bool valid) {
    // Beside a receiver that tells its method this says nothing new, unless that message stops.
    if (has_quality_ && quality_.spoke && to_seconds(span_between(*quality_.spoke, at.time)) <= lost_s_)
      return;
    Fix fix;
    fix.rank = valid ? kFix : kNoFix;
    fix.words = valid ? "a position whose method is not told" : "position not available";
    take(at, fix);
  }

  void take(Mark at, const Fix& fix) {
    const bool counts = matters(at.time);
    if (last_ && !deaf_) {
      const SpanNs span = span_between(last_->time, at.time);
      if (span > 0 && span <= kLongestStretch) {
        if (counted_) time_in_[rank_] += to_seconds(span);
        rhythm_s_ +=
            (to_seconds(span) - rhythm_s_) / static_cast<double>(std::min<std::uint64_t>(count_, 50));
      }
    }
    blind_ = deaf_ = false;
    counted_ = counts;
    silent_from_.reset();
    ++count_;
    last_ = at;
    rank_ = fix.rank;
    if (counts && fix.satellites)
      least_satellites_ = std::min(least_satellites_.value_or(255), *fix.satellites);
    const auto satellites = [&] {
      return fix.satellites ? fmt::format(", {} satellites", *fix.satellites) : std::string();
    };
    if (fix.rank != kNoFix)
      lost_.good(at.time);
    else if (counts || lost_.goes_on())
      lost_.bad(at.time, at, lost_s_, 0, [&] { return fix.words + satellites(); });
    else
      lost_.pass_over();
    const unsigned usual = usual_rank();
    const bool below = has_quality_ && fix.rank > kNoFix && (fix.rank < usual || fix.unsafe);
    if (!below)
      degraded_.good(at.time);
    else if (counts || degraded_.goes_on())
      degraded_.bad(at.time, at, degraded_s_, 0, [&] {
        return fix.rank < usual
                   ? fmt::format("{} instead of {}{}", fix.words, kRankWords[usual], satellites())
                   : fmt::format("{}, said to be unsafe{}", fix.words, satellites());
      });
    else
      degraded_.pass_over();
  }

  std::string share_words() const {
    const double all = judged_s();
    std::string text;
    if (all <= 0 || !has_quality_) return text;
    for (unsigned rank = kRanks; rank-- > 0;) {
      if (time_in_[rank] == 0) continue;
      const double pct = 100 * time_in_[rank] / all;
      text += fmt::format("{}{} {:.{}f} %", text.empty() ? " (" : ", ", kRankWords[rank], pct,
                          pct > 99.95 || pct < 0.05 ? 0 : 1);
    }
    if (least_satellites_) text += fmt::format(", at least {} satellites", *least_satellites_);
    return text + ")";
  }

  void add_line(std::vector<CheckLine>& lines, const char* code, const Spell& spell, TimeNs end,
                double limit_s, const std::string& what, std::string fine) const {
    CheckLine line = make_line(code, "positioning", "",
                               spell.count() == 0 ? Verdict::pass : Verdict::attention, std::move(fine));
    if (spell.count() > 0) {
      line.text = fmt::format("{} {}, first at {} ({}), for {} at the longest{}; limit {}.", what,
                              counted_words(spell.count(), "time", "times"), time_of_day(spell.first()->time),
                              spell.moments().front().text, seconds_words(spell.longest_s(end)),
                              spell.goes_on() ? " (until the recording's end)" : "", seconds_words(limit_s));
      with(line, "times", static_cast<double>(spell.count()), 0);
      with(line, "longest_s", spell.longest_s(end));
      line.moments = spell.moments();
      line.start = spell.first()->time;
      line.end = spell.end();
    }
    if (least_satellites_) with(line, "least_satellites", static_cast<double>(*least_satellites_), 0);
    lines.push_back(std::move(line));
  }

  const MachineContext& context_;
  double working_mm_s_, lost_s_, degraded_s_;
  Holder quality_, rapid_, vehicle_;
  std::uint64_t count_ = 0;
  std::optional<Mark> last_, silent_from_;
  std::optional<TimeNs> heard_;  // anything that this watch sees
  double rhythm_s_ = 0;
  unsigned rank_ = kNoFix;
  bool has_quality_ = false, counted_ = false;
  bool blind_ = false, deaf_ = false;     // the recorder was, since the latest look, or position
  std::array<double, kRanks> time_in_{};  // seconds that matter
  std::optional<unsigned> least_satellites_;
  Spell lost_, degraded_;
};

}  // namespace

const MachineWatchKind positioning{
    "positioning", [](Pgn pgn) { return pgn == kQuality || pgn == kRapid || pgn == kVehiclePosition; },
    [](const MachineContext& context) -> std::unique_ptr<MachineWatch> {
      return std::make_unique<Positioning>(context);
    }};

}  // namespace tramlog::machine
