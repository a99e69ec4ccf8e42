#include "report/html/pictures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/html/time_axis.hpp"
#include "report/report.hpp"
#include "report/sentences.hpp"

namespace tramlog {
namespace {

// What a page can hold; what is beyond is told.
constexpr std::size_t kPresenceLanes = 80;
constexpr std::size_t kBoxes = 3'000;                       // dropouts in pictures
constexpr std::size_t kBlindBoxes = 400, kMarkLines = 200;  // in a lane
constexpr std::size_t kVoltageLanes = 6, kRateLanes = 24, kSectionLanes = 64;

// Of the picture's height:
constexpr double kBarTop = 22, kBar = 36, kAwayTop = 3, kAway = 74, kAgain = 88;
constexpr double kFar = 8;  // units of the axis: wide enough to be seen as an open box

// What is drawn through all lanes: when the recorder was deaf, and the technician's marks.
class Backdrop {
 public:
  Backdrop(const Conclusions& all, const TimeAxis& axis) {
    std::size_t marks = 0;
    for (const RecordedNote& noted : all.recorder.notes) {
      if (noted.note.kind != RecorderNote::Kind::mark || ++marks > kMarkLines) continue;
      marks_ += html_line("mark", axis.x(noted.time),
                          fmt::format("note {}: {}", format_time_of_day(noted.time), noted.note.text));
    }
    for (const BusSummary& bus : all.buses) {
      Html boxes;
      for (std::size_t i = 0; i < bus.blind.size() && i < kBlindBoxes; ++i) {
        const BlindSpan& span = bus.blind[i];
        if (span.end <= span.start) continue;
        const double x = axis.x(span.start);
        const std::string times =
            fmt::format("{} to {}", format_time_of_day(span.start), format_time_of_day(span.end));
        const bool omitted = span.kind == Deafness::left_out;
        (omitted ? left_out_ : deaf_) = true;
        boxes += html_box(omitted ? "omitted" : "deaf", x, axis.x(span.end) - x, 0, TimeAxis::kHeight,
                          omitted ? "left out of this slice: " + times
                                  : fmt::format("recorder blind {}: {}", times, span.reason));
      }
      blind_.push_back(boxes);
    }
  }
  Html behind(BusIndex bus) const { return bus < blind_.size() ? blind_[bus] + marks_ : marks_; }
  bool any_blind() const { return deaf_; }
  bool any_left_out() const { return left_out_; }
  bool any_mark() const { return !marks_.empty(); }

 private:
  std::vector<Html> blind_;
  Html marks_;
  bool deaf_ = false, left_out_ = false;
};

// Somebody whose presence is drawn.
struct Voice {
  std::optional<std::size_t> controller;
  Address address = 0;
  BusIndex bus = 0;
  TimeNs first = 0, last = 0;
};

struct PresenceNeeds {  // signs that the legend must explain
  bool away = false, again = false, all_silent = false, power_down = false;
  std::size_t boxes = 0, not_drawn = 0;
};

using Spans = std::vector<std::pair<TimeNs, TimeNs>>;

// When nobody can say that somebody was heard on a bus: by time, apart from each other, and wide enough to be
// seen.
Spans quiet_spans(const Conclusions& all, const TimeAxis& axis, BusIndex bus) {
  constexpr double kSeen = 1;  // units of the axis
  Spans spans;
  if (bus < all.buses.size())
    for (const BlindSpan& span : all.buses[bus].blind) spans.emplace_back(span.start, span.end);
  for (const BusSilence& silence : all.silences)
    if (silence.bus == bus) spans.emplace_back(silence.start.time, silence.judged_until);
  std::erase_if(spans, [&](const auto& span) { return axis.x(span.second) - axis.x(span.first) < kSeen; });
  std::sort(spans.begin(), spans.end());
  Spans apart;
  for (const auto& span : spans) {
    if (apart.empty() || span.first > apart.back().second)
      apart.push_back(span);
    else
      apart.back().second = std::max(apart.back().second, span.second);
  }
  return apart;
}

bool is_of(const Dropout& d, const Voice& voice) {
  if (d.controller || voice.controller) return d.controller == voice.controller;
  return d.address == voice.address && d.bus == voice.bus;
}

Html presence_lane(const Conclusions& all, const TimeAxis& axis, const Backdrop& backdrop, const Voice& voice,
                   const Spans& quiet, PresenceNeeds& needs) {
  std::vector<const Dropout*> away;
  for (const Dropout& d : all.dropouts)
    if (is_of(d, voice)) away.push_back(&d);
  std::sort(away.begin(), away.end(),
            [](const Dropout* a, const Dropout* b) { return a->start.time < b->start.time; });

  Html bars, boxes, lines;
  TimeNs since = voice.first;
  const auto bar = [&](TimeNs from, TimeNs to) {
    const auto piece = [&](TimeNs begin, TimeNs end) {
      bars += html_box("here", axis.x(begin), axis.x(end) - axis.x(begin), kBarTop, kBar);
    };
    for (const auto& [begin, end] : quiet) {
      if (end <= from) continue;
      if (begin >= to) break;
      if (begin > from) piece(from, begin);
      from = end;
    }
    if (from <= to) piece(from, to);
  };
  std::size_t told = 0;
  for (const Dropout* d : away) {
    const double x = axis.x(d->start.time), width = axis.x(d->judged_until) - x;
    bar(since, d->start.time);
    since = d->end ? d->end->time : INT64_MAX;
    if (d->kind == DropoutKind::power_down) {
      needs.power_down = true;
      continue;
    }
    ++told;
    if (++needs.boxes > kBoxes) {
      ++needs.not_drawn;
      continue;
    }
    const bool silent = d->kind == DropoutKind::bus_silent;
    (silent ? needs.all_silent : needs.away) = true;
    boxes += html_box(silent          ? "hush"
                      : width >= kFar ? "away far"
                                      : "away",
                      x, width, kAwayTop, kAway, dropout_words(all, *d));
    if (d->end && d->reclaimed) {
      needs.again = true;
      lines += html_dot("again", axis.x(d->end->time), kAgain);
    }
  }
  // Who is there at the end is there up to the end, however seldom it speaks.
  const bool there =
      voice.controller && (all.controllers[*voice.controller].state == ControllerState::present ||
                           all.controllers[*voice.controller].state == ControllerState::intermittent);
  if (since != INT64_MAX) bar(since, there ? std::max(voice.last, all.end) : voice.last);

  const std::string who = voice_words(all, voice.controller, voice.address) + on_bus(all, voice.bus);
  const bool lost = !away.empty() && !away.back()->end && away.back()->kind == DropoutKind::controller;
  Html what = who;
  if (lost) what += " " + html_badge(Tone::trouble, "lost");
  if (told > 0) what += html_element("span", {{"class", "soft"}}, " " + counted(told, "dropout", "dropouts"));
  return html_lane(what,
                   fmt::format("{}: heard from {} to {}, {}", who, format_time_of_day(voice.first),
                               format_time_of_day(voice.last), counted(told, "dropout", "dropouts")),
                   bars + backdrop.behind(voice.bus) + boxes + lines);
}

Html presence(const Conclusions& all, const TimeAxis& axis, const Backdrop& backdrop, PresenceNeeds& needs,
              std::size_t& left_out) {
  std::vector<Voice> voices;
  for (std::size_t i = 0; i < all.controllers.size(); ++i) {
    const ControllerRecord& c = all.controllers[i];
    voices.push_back({i, c.address, c.bus, c.first_seen.time, c.last_seen.time});
  }
  for (const UnclaimedRecord& u : all.unclaimed)
    voices.push_back({std::nullopt, u.address, u.bus, u.first_seen.time, u.last_seen.time});
  Html lanes;
  std::size_t missing = 0;
  std::vector<Spans> quiet;
  for (std::size_t bus = 0; bus < all.buses.size(); ++bus)
    quiet.push_back(quiet_spans(all, axis, static_cast<BusIndex>(bus)));
  const Spans none;
  for (std::size_t i = 0; i < voices.size() && i < kPresenceLanes; ++i)
    lanes += presence_lane(all, axis, backdrop, voices[i],
                           voices[i].bus < quiet.size() ? quiet[voices[i].bus] : none, needs);
  left_out = voices.size() - std::min(voices.size(), kPresenceLanes);
  // Who should be there and never was has a lane, too: an empty one.
  if (all.rollcall)
    for (const RollcallEntry& entry : all.rollcall->entries) {
      if (entry.state != EntryState::missing || !entry.required) continue;
      if (++missing > kPresenceLanes) {
        ++left_out;
        continue;
      }
      lanes += html_lane(Html(entry.label) + " " + html_badge(Tone::trouble, state_code(entry.state)),
                         entry.label + ": never heard", {});
    }
  return lanes;
}

struct Range {
  double least = INFINITY, greatest = -INFINITY;
  void take(const std::vector<float>& values) {
    for (const float v : values)
      if (std::isfinite(v)) least = std::min(least, double{v}), greatest = std::max(greatest, double{v});
  }
  bool any() const { return least <= greatest; }
};

StepPicture picture_of(const DaySeries& series, const TimeAxis& axis, double bottom, double top) {
  StepPicture picture;
  // Steps begin on whole seconds: the first one may lie before the start of the recording and the last one
  // reach beyond its end. The picture is cut there, not pressed together.
  picture.x = axis.place(series.start);
  picture.step = axis.place(later_by(series.start, series.step)) - picture.x;
  picture.bottom = bottom;
  picture.top = top;
  return picture;
}

// The next round value above: 1, 1.5, 2, 3 ..
double round_top(double value) {
  if (!(value > 0)) return 1;
  const double ten = std::pow(10.0, std::floor(std::log10(value)));
  for (const double factor : {1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0})
    if (value <= ten * factor * (1 + 1e-9)) return ten * factor;
  return ten * 10;
}

// What did not get a lane.
Html more_lanes(std::size_t drawn_at_most, std::size_t all, const char* singular, const char* plural) {
  if (all <= drawn_at_most) return {};
  return html_element("p",
                      counted(all - drawn_at_most, singular, plural) + " not drawn: see the JSON report.");
}

Html soft(const std::string& text) {
  return html_element("span", {{"class", "soft"}}, text);
}
// "metering front" / "10.4 to 14.2 V": a second line.
Html two_lines(const std::string& what, const std::string& numbers) {
  return Html(what) + Html::markup("<br>") + soft(numbers);
}

Html voltages(const Conclusions& all, const TimeAxis& axis, const Backdrop& backdrop) {
  Range range;
  for (const VoltageSeries& v : all.series.voltages) range.take(v.least_v), range.take(v.greatest_v);
  if (!range.any()) return {};
  const double bottom = std::floor(range.least), top = std::max(std::ceil(range.greatest), bottom + 2);
  Html lanes;
  for (std::size_t i = 0; i < all.series.voltages.size() && i < kVoltageLanes; ++i) {
    const VoltageSeries& v = all.series.voltages[i];
    Range own;
    own.take(v.least_v), own.take(v.greatest_v);
    if (!own.any()) continue;
    const StepPicture picture = picture_of(all.series, axis, bottom, top);
    const std::string who = voice_words(all, v.controller, v.address) + on_bus(all, v.bus);
    const std::string numbers = fmt::format("{:.1f} to {:.1f} V; drawn from {:.0f} to {:.0f} V", own.least,
                                            own.greatest, bottom, top);
    lanes += html_lane(two_lines(who, numbers), fmt::format("Supply voltage told by {}: {}", who, numbers),
                       backdrop.behind(v.bus) + html_area("band", picture, v.least_v, v.greatest_v) +
                           html_steps("solid", picture, v.least_v),
                       LaneHeight::tall);
  }
  return lanes;
}

Html loads(const Conclusions& all, const TimeAxis& axis, const Backdrop& backdrop) {
  Html lanes;
  for (const LoadSeries& load : all.series.loads) {
    Range range;
    range.take(load.peak_pct), range.take(load.mean_pct);
    if (!range.any() || load.bus >= all.buses.size()) continue;
    const double top = range.greatest <= 50 ? 50 : 100;
    const StepPicture picture = picture_of(all.series, axis, 0, top);
    const BusSummary& bus = all.buses[load.bus];
    const std::string numbers = fmt::format("{:.0f} % on average, {:.0f} % at most; drawn from 0 to {:.0f} %",
                                            bus.load_mean_pct, bus.load_peak_pct, top);
    lanes += html_lane(two_lines(bus.name, numbers), fmt::format("Bus load of {}: {}", bus.name, numbers),
                       backdrop.behind(load.bus) + html_area("mean", picture, {}, load.mean_pct) +
                           html_steps("peak", picture, load.peak_pct),
                       LaneHeight::tall);
  }
  return lanes;
}

BusIndex bus_of(const Conclusions& all, std::size_t implement) {
  return implement < all.seeding.implements.size() ? all.seeding.implements[implement].bus : BusIndex{0};
}

Html rates(const Conclusions& all, const TimeAxis& axis, const Backdrop& backdrop) {
  Html lanes;
  for (std::size_t i = 0; i < all.series.rates.size() && i < kRateLanes; ++i) {
    const RateSeries& rate = all.series.rates[i];
    Range range;
    range.take(rate.set), range.take(rate.actual);
    if (!range.any()) continue;
    const double bottom = std::min(0.0, range.least), top = round_top(range.greatest);
    const StepPicture picture = picture_of(all.series, axis, bottom, top);
    const std::string numbers =
        fmt::format("{}; drawn from {:g} to {:g} {}", rate.quantity, bottom, top, rate.unit);
    lanes += html_lane(two_lines(rate.subject, numbers),
                       fmt::format("Set and delivered rate of {}: {}", rate.subject, numbers),
                       backdrop.behind(bus_of(all, rate.implement)) +
                           html_steps("solid", picture, rate.actual) + html_steps("told", picture, rate.set),
                       LaneHeight::tall);
  }
  return lanes;
}

Html sections(const Conclusions& all, const TimeAxis& axis, const Backdrop& backdrop) {
  Html lanes;
  for (std::size_t i = 0; i < all.series.sections.size() && i < kSectionLanes; ++i) {
    const SectionSeries& section = all.series.sections[i];
    Range range;
    range.take(section.commanded), range.take(section.on);
    if (!range.any()) continue;
    StepPicture told = picture_of(all.series, axis, 0, 1), was = told;
    told.lower = 46, told.upper = 8;
    was.lower = 94, was.upper = 56;
    lanes += html_lane(
        section.subject, fmt::format("{}: when it was told to be on, and when it was", section.subject),
        backdrop.behind(bus_of(all, section.implement)) + html_area("want", told, {}, section.commanded) +
            html_area("did", was, {}, section.on),
        LaneHeight::low);
  }
  return lanes;
}

Html heading(const char* text) {
  return html_element("h3", text);
}

// A strip of example values for the legend, 100 units wide.
constexpr float kWave[] = {0.3F, 0.5F, 0.8F, 0.6F, 0.9F, 0.7F, 0.4F, 0.6F, 0.5F, 0.7F};
constexpr float kLowWave[] = {0.2F, 0.3F, 0.5F, 0.4F, 0.6F, 0.5F, 0.2F, 0.4F, 0.3F, 0.4F};
constexpr StepPicture kSample{0, 10, 0, 1, 95, 5};

Html seeding_groups(const Conclusions& all, const TimeAxis& axis, const Backdrop& backdrop) {
  Html inside;
  if (const Html lanes = rates(all, axis, backdrop); !lanes.empty())
    inside += heading("Rates") +
              html_key({{html_steps("told", kSample, kLowWave), "set"},
                        {html_steps("solid", kSample, kWave), "delivered"}}) +
              html_lanes(axis, lanes) +
              more_lanes(kRateLanes, all.series.rates.size(), "more rate is", "more rates are");
  if (const Html lanes = sections(all, axis, backdrop); !lanes.empty())
    inside += heading("Sections") +
              html_key({{html_box("want", 2, 96, 8, 38), "above: told to be on"},
                        {html_box("did", 2, 96, 56, 38), "below: was on; lower: only part of that time"}}) +
              html_lanes(axis, lanes) +
              more_lanes(kSectionLanes, all.series.sections.size(), "more section is", "more sections are");
  return inside;
}

}  // namespace

Html day_pictures(const Conclusions& all) {
  if (all.nothing_read()) return {};
  const TimeAxis axis(all.start, all.end);
  const Backdrop backdrop(all, axis);
  PresenceNeeds needs;
  std::size_t left_out = 0;
  const Html lanes = presence(all, axis, backdrop, needs, left_out);

  std::vector<std::pair<Html, Html>> signs = {{html_box("here", 0, 100, kBarTop, kBar), "heard"}};
  if (needs.away) {
    signs.emplace_back(html_box("away far", 15, 70, kAwayTop, kAway), "away, long");
    signs.emplace_back(html_box("here", 0, 100, kBarTop, kBar) + html_box("away", 48, 2, kAwayTop, kAway),
                       "away, short");
  }
  if (needs.again)
    signs.emplace_back(html_box("here", 0, 100, kBarTop, kBar) + html_dot("again", 50, kAgain),
                       "back with a new address claim (restart)");
  if (needs.all_silent)
    signs.emplace_back(html_box("hush", 10, 80, kAwayTop, kAway), "all of the bus silent");
  if (needs.power_down)
    signs.emplace_back(html_box("here", 0, 30, kBarTop, kBar) + html_box("here", 70, 30, kBarTop, kBar),
                       "gap: switched off");
  if (backdrop.any_blind())
    signs.emplace_back(html_box("deaf", 1, 98, 0, 100), "recorder blind: nothing is said");
  if (backdrop.any_left_out())
    signs.emplace_back(html_box("omitted", 1, 98, 0, 100), "left out of this slice");
  if (backdrop.any_mark()) signs.emplace_back(html_line("mark", 50), "note of the technician");

  Html inside;
  if (!lanes.empty()) inside += heading("Who was there") + html_key(signs) + html_lanes(axis, lanes);
  if (left_out > 0)
    inside += html_element(
        "p", counted(left_out, "more controller or voice is", "more controllers and voices are") +
                 " not drawn: see the tables and the JSON report.");
  if (needs.not_drawn > 0)
    inside += html_element("p", counted(needs.not_drawn, "more dropout is", "more dropouts are") +
                                    " not drawn: see the JSON report.");
  if (const Html some = voltages(all, axis, backdrop); !some.empty())
    inside += heading("Supply voltage") +
              html_key({{html_area("band", kSample, kLowWave, kWave) + html_steps("solid", kSample, kLowWave),
                         "least (line) to greatest told in each step"}}) +
              html_lanes(axis, some) +
              more_lanes(kVoltageLanes, all.series.voltages.size(), "more controller that tells it is",
                         "more controllers that tell it are");
  if (const Html some = loads(all, axis, backdrop); !some.empty())
    inside += heading("Bus load") +
              html_key({{html_area("mean", kSample, {}, kLowWave), "average"},
                        {html_steps("peak", kSample, kWave), "fullest second"}}) +
              html_lanes(axis, some);
  inside += seeding_groups(all, axis, backdrop);
  return inside.empty() ? inside : html_patterns() + axis.day(inside);
}

Html seeding_pictures(const Conclusions& all) {
  if (all.nothing_read()) return {};
  const TimeAxis axis(all.start, all.end);
  const Html inside = seeding_groups(all, axis, Backdrop(all, axis));
  return inside.empty() ? inside : html_patterns() + axis.day(inside);
}

}  // namespace tramlog
