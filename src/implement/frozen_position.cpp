#include "implement/frozen_position.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

constexpr std::uint64_t kEnoughMessages = 5;  // a receiver at 1 Hz within 5 s
constexpr std::uint64_t kEnoughChanges = 5;   // before: else it may be a place that was put in by hand
constexpr SpanNs kSenderHolds = 5 * kSecond;  // of several receivers the first one, until it is quiet
constexpr SpanNs kPause = 3 * kSecond;        // a longer one is a loss

bool in_degrees(std::uint32_t raw, std::int64_t limit) {
  const std::int64_t value = static_cast<std::int32_t>(raw);
  return value >= -limit && value <= limit;
}

}  // namespace

void FrozenPosition::take(Mark at, Address source, Bytes data) {
  const SpanNs quiet = spoke_ ? span_between(*spoke_, at.time) : -1;
  if (who_ && *who_ != source && quiet >= 0 && quiet < kSenderHolds) return;
  const std::uint32_t latitude = load_le32(data.data()), longitude = load_le32(data.data() + 4);
  const bool valid = in_degrees(latitude, 900'000'000) && in_degrees(longitude, 1'800'000'000);
  const std::uint64_t place = std::uint64_t{latitude} << 32 | longitude;
  const bool goes_on = who_ == source && since_ && quiet > 0 && quiet <= kPause;
  if (who_ != source) changes_ = 0;
  who_ = source;
  spoke_ = at.time;
  ++count_;
  if (!valid) return close(at.time);
  if (goes_on && place == place_) {
    ++messages_;
    return;
  }
  if (goes_on) ++changes_;
  close(at.time);
  place_ = place;
  since_ = at;
  messages_ = 1;
}

void FrozenPosition::judge(Mark at, const StandingSpeeds& speeds) {
  if (!spoke_ || *spoke_ != at.time || !since_) return;
  const SpanNs step = judged_ ? span_between(*judged_, at.time) : -1;
  judged_ = at.time;
  const auto moves = speeds.moves_since(driving_mm_s_, since_->time, at.time);
  if (messages_ == 1) {
    // It moved: any driving will do to have judged it.
    if (step > 0 && step <= kPause && speeds.moves_since(driving_mm_s_, at.time - kPause, at.time))
      driven_s_ += to_seconds(step);
    return;
  }
  if (!moves) {
    frozen_.good(at.time);
    return;
  }
  const Mark begin = *moves > since_->time ? Mark{*moves, 0} : *since_;
  const double length_s = to_seconds(span_between(begin.time, at.time));
  if (!frozen_.goes_on()) {
    if (length_s < frozen_s_ || messages_ < kEnoughMessages || changes_ < kEnoughChanges) {
      longest_s_ = std::max(longest_s_, length_s);
      return;
    }
  }
  // Where it stands is told by nobody who was not allowed to.
  frozen_.bad(at.time, begin, 0, 0, [] { return std::string("the position stands while the machine drives"); });
}

void FrozenPosition::pass(TimeNs now) {
  if (spoke_ && span_between(*spoke_, now) > kPause) close(*spoke_);
}

void FrozenPosition::close(TimeNs at) {
  frozen_.good(at);
  since_.reset();
  messages_ = 0;
}

void FrozenPosition::blind() {
  frozen_.forget();
  since_.reset();
  judged_.reset();
  messages_ = 0;
}

void FrozenPosition::conclude(TimeNs end, std::vector<CheckLine>& lines) const {
  CheckLine line = make_line("position.frozen", "positioning", "", Verdict::not_shown, "");
  if (frozen_.count() > 0) {
    line.verdict = Verdict::attention;
    line.text =
        fmt::format("Frozen {}, first at {} ({}), for {} at the longest{}; limit {}.",
                    counted_words(frozen_.count(), "time", "times"), time_of_day(frozen_.first()->time),
                    frozen_.moments().front().text, seconds_words(frozen_.longest_s(end)),
                    frozen_.goes_on() ? " (until the recording's end)" : "", seconds_words(frozen_s_));
    with(line, "times", static_cast<double>(frozen_.count()), 0);
    with(line, "longest_s", frozen_.longest_s(end));
    line.moments = frozen_.moments();
    line.start = frozen_.first()->time;
    line.end = frozen_.end();
  } else if (count_ == 0) {
    line.text = "Not shown on this bus: no position that is told often (PGN 129025).";
  } else if (changes_ < kEnoughChanges || driven_s_ < frozen_s_) {
    line.text = fmt::format(
        "Not shown on this bus: no position changed (PGN 129025) for {} while a speed of {:.1f} m/s and more "
        "was told.",
        seconds_words(frozen_s_), driving_mm_s_ / 1000);
  } else {
    line.verdict = Verdict::pass;
    line.text = fmt::format("Never the same for more than {} while driving; {} at the longest.",
                            seconds_words(frozen_s_), seconds_words(longest_s_));
  }
  lines.push_back(std::move(line));
}

}  // namespace tramlog
