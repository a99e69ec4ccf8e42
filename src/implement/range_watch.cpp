#include "implement/range_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"

namespace tramlog {

std::optional<std::int64_t> RangeWatch::bound(const Track& track, std::uint16_t ddi) const {
  if (ddi == 0) return std::nullopt;
  return device_.value_of({track.element, ddi});
}

void RangeWatch::on_value(const ProcessValue& value) {
  if (!value.by_device) return;
  const auto quantity = std::find_if(quantities_.begin(), quantities_.end(),
                                     [&](const RangeQuantity& q) { return q.actual == value.variable.ddi; });
  if (quantity == quantities_.end()) return;
  auto found = tracks_.find(value.variable);
  if (found == tracks_.end()) {
    if (tracks_.size() >= kMaxTracks) return;
    found = tracks_.emplace(value.variable, Track{}).first;
    found->second.quantity = &*quantity;
    found->second.element = value.variable.element;
  }
  Track& track = found->second;
  track.raw = value.raw;
  ++track.count;
  judge(track, value.at);
}

void RangeWatch::on_speed(Mark at) {
  for (auto& [variable, track] : tracks_) judge(track, at);
}

void RangeWatch::on_blind() {
  for (auto& [variable, track] : tracks_)
    for (Spell& spell : track.spells) {
      spell.since.reset();
      spell.told = false;
    }
}

void RangeWatch::advance(Spell& spell, bool bad, Mark at, const Track& track, const std::string& words) {
  if (!bad) {
    if (spell.told && spell.since) {
      spell.longest_s = std::max(spell.longest_s, to_seconds(at.time - spell.since->time));
      spell.end = at.time;
    }
    spell.since.reset();
    spell.told = false;
    return;
  }
  if (!spell.since) spell.since = at;
  const double length = to_seconds(at.time - spell.since->time);
  if (!spell.told && length > device_.limits[topic_.settle_key]) {
    spell.told = true;
    ++spell.count;
    spell.end.reset();
    if (spell.moments.size() < kMaxMoments)
      spell.moments.push_back(
          {*spell.since, fmt::format("{}, {}", device_.value_words({track.element, track.quantity->actual}, track.raw), words)});
  }
  if (spell.told) spell.longest_s = std::max(spell.longest_s, length);
}

void RangeWatch::judge(Track& track, Mark at) {
  const bool works = device_.working().value_or(false);
  const auto minimum = bound(track, track.quantity->minimum), maximum = bound(track, track.quantity->maximum);
  const auto set = topic_.tolerance_key == nullptr ? std::nullopt : bound(track, track.quantity->set);
  if (works) {
    track.least = track.judged == 0 ? track.raw : std::min(track.least, track.raw);
    track.greatest = track.judged == 0 ? track.raw : std::max(track.greatest, track.raw);
    ++track.judged;
    track.judgeable = track.judgeable || minimum || maximum || set;
  }
  const auto shown = [&](std::int64_t raw) { return device_.value_words({track.element, track.quantity->actual}, raw); };
  advance(track.spells[0], works && minimum && track.raw < *minimum, at, track,
          minimum ? "declared minimum " + shown(*minimum) : "");
  advance(track.spells[1], works && maximum && track.raw > *maximum, at, track,
          maximum ? "declared maximum " + shown(*maximum) : "");
  bool off = false;
  if (set && *set > 0) {
    const double difference = std::abs(static_cast<double>(track.raw) - static_cast<double>(*set));
    off = 100 * difference > device_.limits[topic_.tolerance_key] * static_cast<double>(*set);
  }
  advance(track.spells[2], works && off, at, track, set ? "set to " + shown(*set) : "");
}

void RangeWatch::conclude(TimeNs end, ImplementRecord& out) {
  (void)end;
  if (tracks_.empty()) {
    out.lines.push_back(make_line(topic_.code, topic_.topic, "", Verdict::not_shown, topic_.absent));
    return;
  }
  constexpr const char* kWords[] = {"below its declared minimum", "above its declared maximum", "off its set value"};
  for (const auto& [variable, track] : tracks_) {
    const std::string subject = device_.words(track.element);
    const auto shown = [&](std::int64_t raw) { return device_.value_words({track.element, track.quantity->actual}, raw); };
    CheckLine line = make_line(topic_.code, topic_.topic, subject, Verdict::pass, "");
    line.element = track.element;
    if (track.judged == 0) {
      line.verdict = Verdict::not_shown;
      line.text = fmt::format("Not shown on this bus: {} is told ({}), but never while the machine worked.", track.quantity->words,
                              counted_words(track.count, "value", "values"));
      out.lines.push_back(std::move(line));
      continue;
    }
    if (!track.judgeable) {
      line.verdict = Verdict::not_shown;
      line.text = fmt::format(
          "Not shown on this bus: {} was {} to {} while working, but the description declares neither minimum nor maximum (DDI {} "
          "and {}), and no set value was told.",
          track.quantity->words, shown(track.least), shown(track.greatest), track.quantity->minimum, track.quantity->maximum);
      out.lines.push_back(std::move(line));
      continue;
    }
    std::string text;
    for (std::size_t i = 0; i < 3; ++i) {
      const Spell& spell = track.spells[i];
      if (spell.count == 0) continue;
      line.verdict = Verdict::attention;
      text += fmt::format("{}{} {} {} while working, first at {} ({}), for {} at the longest; limit {}.", text.empty() ? "" : " ",
                          track.quantity->words, kWords[i], counted_words(spell.count, "time", "times"),
                          time_of_day(spell.moments.front().at.time), spell.moments.front().text, seconds_words(spell.longest_s),
                          seconds_words(device_.limits[topic_.settle_key]));
      for (const Moment& moment : spell.moments) add_moment(line, moment.at, moment.text);
      if (!line.start || spell.moments.front().at.time < *line.start) line.start = spell.moments.front().at.time;
      with(line, i == 0 ? "below_longest_s" : i == 1 ? "above_longest_s" : "off_set_longest_s", spell.longest_s);
    }
    if (!text.empty()) text[0] = static_cast<char>(text[0] >= 'a' && text[0] <= 'z' ? text[0] - 'a' + 'A' : text[0]);
    if (line.verdict == Verdict::pass)
      text = fmt::format("{} to {} while working, within what is declared.", shown(track.least), shown(track.greatest));
    line.text = std::move(text);
    out.lines.push_back(std::move(line));
  }
}

}  // namespace tramlog
