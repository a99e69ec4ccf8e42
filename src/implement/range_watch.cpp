#include "implement/range_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kLookEvery = 250 * kMillisecond;
constexpr double kLongestLookS = 2;  // a longer pause is none in which anything was watched

}  // namespace

RangeWatch::RangeWatch(const Device& device, const RangeTopic& topic, std::vector<RangeQuantity> quantities)
    : device_(device),
      topic_(topic),
      quantities_(std::move(quantities)),
      settle_s_(device.limits[topic.settle_key]),
      tolerance_pct_(topic.tolerance_key == nullptr ? 0 : device.limits[topic.tolerance_key]) {}

std::optional<std::int64_t> RangeWatch::bound(const Track& track, std::uint16_t ddi) const {
  if (ddi == 0) return std::nullopt;
  return device_.value_of({track.element, ddi});
}

std::string RangeWatch::shown(const Track& track, std::int64_t raw) const {
  return device_.value_words({track.element, track.quantity->actual}, raw);
}

void RangeWatch::on_value(const ProcessValue& value) {
  if (!value.by_device) return;
  told_ = value.at.time;
  const auto quantity = std::find_if(quantities_.begin(), quantities_.end(),
                                     [&](const RangeQuantity& q) { return q.actual == value.variable.ddi; });
  if (quantity == quantities_.end()) return;
  auto found = tracks_.find(value.variable);
  if (found == tracks_.end()) {
    if (tracks_.size() >= kMaxTracks) {
      ++not_kept_;
      return;
    }
    found = tracks_.emplace(value.variable, Track{}).first;
    found->second.quantity = &*quantity;
    found->second.element = value.variable.element;
  }
  Track& track = found->second;
  track.raw = value.raw;
  ++track.count;
  if (device_.working().value_or(false)) {
    track.least = track.worked == 0 ? value.raw : std::min(track.least, value.raw);
    track.greatest = track.worked == 0 ? value.raw : std::max(track.greatest, value.raw);
    ++track.worked;
  }
  judge(track, value.at, 0);
}

void RangeWatch::look(Mark at) {
  if (tracks_.empty()) return;
  const SpanNs passed = looked_ ? span_between(*looked_, at.time) : 0;
  if (looked_ && passed >= 0 && passed < kLookEvery) return;
  looked_ = at.time;
  const double passed_s = to_seconds(passed);
  for (auto& [variable, track] : tracks_)
    judge(track, at, passed_s > 0 && passed_s <= kLongestLookS ? passed_s : 0);
}

void RangeWatch::on_blind() {
  for (auto& [variable, track] : tracks_)
    for (Spell& spell : track.spells) spell.forget();
  looked_.reset();
}

void RangeWatch::judge(Track& track, Mark at, double passed_s) {
  const bool gone = !told_ || span_between(*told_, at.time) > kToldHolds;
  if (gone || !device_.working().value_or(false)) {
    for (Spell& spell : track.spells) gone ? spell.forget() : static_cast<void>(spell.good(at.time));
    return;
  }
  track.minimum = bound(track, track.quantity->minimum);
  track.maximum = bound(track, track.quantity->maximum);
  const auto set = topic_.tolerance_key == nullptr ? std::nullopt : bound(track, track.quantity->set);
  // A new set value may take its time.
  if (set != track.set) track.spells[kOffSet].pass_over();
  track.set = set;
  if (track.minimum || track.maximum || (set && *set != 0)) track.judged_s += passed_s;
  const auto raw = static_cast<double>(track.raw);
  const auto tell = [&](Side side, bool bad, double size, const char* what,
                        std::optional<std::int64_t> against) {
    if (!bad)
      track.spells[side].good(at.time);
    else
      track.spells[side].bad(at.time, at, settle_s_, size, [&] {
        return fmt::format("{}, {} {}", shown(track, track.raw), what, shown(track, *against));
      });
  };
  const double under = track.minimum ? static_cast<double>(*track.minimum) - raw : 0;
  tell(kBelow, under > 0, under, "declared minimum", track.minimum);
  const double over = track.maximum ? raw - static_cast<double>(*track.maximum) : 0;
  tell(kAbove, over > 0, over, "declared maximum", track.maximum);
  const double off = set && *set != 0 ? std::abs(raw - static_cast<double>(*set)) : 0;
  tell(kOffSet, off > 0 && 100 * off > tolerance_pct_ * std::abs(static_cast<double>(*set)), off, "set to",
       set);
}

std::string RangeWatch::declared_words(const Track& track) const {
  std::string text;
  const auto add = [&](const char* what, std::optional<std::int64_t> raw) {
    if (raw) text += fmt::format("{}{} {}", text.empty() ? "" : ", ", what, shown(track, *raw));
  };
  add("declared minimum", track.minimum);
  add("declared maximum", track.maximum);
  add("set to", track.set);
  return text;
}

std::string RangeWatch::spell_words(const Track& track, Side side, TimeNs end) const {
  constexpr const char* kWords[] = {"Below the declared minimum", "Above the declared maximum",
                                    "Off the set value"};
  const Spell& spell = track.spells[side];
  return fmt::format(
      "{} {} while working, first at {} ({}), for {} at the longest{}, by {} at worst; limit {}{}.",
      kWords[side], counted_words(spell.count(), "time", "times"), time_of_day(spell.first()->time),
      spell.moments().front().text, seconds_words(spell.longest_s(end)),
      spell.goes_on() ? " (until the recording's end)" : "", shown(track, std::llround(*spell.worst())),
      side == kOffSet ? fmt::format("{:.0f} % for ", tolerance_pct_) : "", seconds_words(settle_s_));
}

CheckLine RangeWatch::line_of(const Track& track, TimeNs end) const {
  // An element may tell several pressures.
  const auto same = std::count_if(tracks_.begin(), tracks_.end(),
                                  [&](const auto& other) { return other.first.element == track.element; });
  std::string subject = device_.words(track.element);
  if (same > 1) subject = fmt::format("{} of {}", track.quantity->words, subject);
  CheckLine line = make_line(topic_.code, topic_.topic, std::move(subject), Verdict::not_shown, "");
  line.element = track.element;
  if (track.worked == 0) {
    line.text =
        fmt::format("Not shown on this bus: {} is told ({}), but never while the device was known to work.",
                    track.quantity->words, counted_words(track.count, "value", "values"));
    return line;
  }
  const std::string key = topic_.unit_key;
  const auto units = [&](std::int64_t raw) {
    return device_.in_units(track.quantity->actual, static_cast<double>(raw));
  };
  with(line, ("least_" + key).c_str(), units(track.least), 1);
  with(line, ("greatest_" + key).c_str(), units(track.greatest), 1);
  const std::string range =
      fmt::format("{} to {} while working", shown(track, track.least), shown(track, track.greatest));
  constexpr const char* kKeys[] = {"below_longest_s", "above_longest_s", "off_set_longest_s"};
  for (const Side side : {kBelow, kAbove, kOffSet}) {
    const Spell& spell = track.spells[side];
    if (spell.count() == 0) continue;
    line.verdict = Verdict::attention;
    line.text += (line.text.empty() ? "" : " ") + spell_words(track, side, end);
    with(line, kKeys[side], spell.longest_s(end));
    for (const Moment& moment : spell.moments()) add_moment(line, moment.at, moment.text);
    if (!line.start || spell.first()->time < *line.start) line.start = spell.first()->time;
    if (spell.end() && (!line.end || *line.end < *spell.end())) line.end = spell.end();
  }
  if (std::any_of(std::begin(track.spells), std::end(track.spells),
                  [](const Spell& s) { return s.goes_on(); }))
    line.end.reset();
  if (line.verdict == Verdict::attention) return line;
  const std::string declared = declared_words(track);
  if (declared.empty()) {
    line.text = fmt::format(
        "Not shown on this bus: {} was {}, but the device declares neither minimum nor maximum{}{}.",
        track.quantity->words, range,
        track.quantity->minimum == 0
            ? " (the dictionary has none for it)"
            : fmt::format(" (DDI {} and {})", track.quantity->minimum, track.quantity->maximum),
        topic_.tolerance_key == nullptr
            ? ""
            : fmt::format(", and no set value (DDI {}) was told", track.quantity->set));
  } else if (track.judged_s < settle_s_) {
    line.text = fmt::format("Not shown on this bus: {} was {}, but it was watched for {} of work only.",
                            track.quantity->words, range, seconds_words(track.judged_s));
  } else {
    line.verdict = Verdict::pass;
    line.text =
        fmt::format("{} ({}); never outside for more than {}.", range, declared, seconds_words(settle_s_));
  }
  return line;
}

void RangeWatch::conclude(TimeNs end, ImplementRecord& out) {
  if (tracks_.empty()) {
    out.lines.push_back(make_line(topic_.code, topic_.topic, "", Verdict::not_shown, topic_.absent));
    return;
  }
  for (const auto& [variable, track] : tracks_) out.lines.push_back(line_of(track, end));
  if (not_kept_ > 0)
    out.lines.back().text +=
        fmt::format(" More than {} elements tell such values: {} of the others are not looked at.",
                    kMaxTracks, counted_words(not_kept_, "value", "values"));
}

}  // namespace tramlog
