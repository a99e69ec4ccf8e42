#include "exam/story.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "base/text.hpp"
#include "exam/story_parts.hpp"
#include "exam/words.hpp"

namespace tramlog {

const char* phase_code(Phase phase) {
  switch (phase) {
    case Phase::quiet:
      return "quiet";
    case Phase::start_up:
      return "start-up";
    case Phase::work:
      return "work";
    case Phase::trouble:
      return "trouble";
    case Phase::recorder:
      return "recorder";
    case Phase::mark:
      return "mark";
    case Phase::shut_down:
      return "shut-down";
    case Phase::end:
      break;
  }
  return "end";
}

namespace story {

std::size_t columns_of(const std::string& text) {
  return as_ascii(text).size();
}

std::string cut_to(const std::string& text, std::size_t columns) {
  if (columns_of(text) <= columns) return text;
  // Cut in ASCII: a sign that is spelt out takes several columns.
  std::string cut = as_ascii(text).substr(0, columns - 3);
  if (const auto blank = cut.find_last_of(' '); blank != std::string::npos && blank > columns / 2)
    cut.resize(blank);
  cut.erase(cut.find_last_not_of(" ,;:.") + 1);
  return cut + " ..";
}

std::string until_words(TimeNs from, TimeNs to) {
  const std::string first = format_date_time(from), last = format_date_time(to);  // "2026-04-09 14:02:07.000"
  if (first.substr(0, 10) == last.substr(0, 10)) return "until " + last.substr(11, 8);
  return "until " + last.substr(5, 5);
}

std::string name_of(const Conclusions& all, std::size_t controller) {
  const ControllerRecord& c = all.controllers[controller];
  std::string name = c.label.empty() ? function_term(c.name) : printable_utf8(c.label);
  if (c.label.empty())
    if (const auto more = name.find(" ("); more != std::string::npos) name.resize(more);
  constexpr std::size_t kLongest = 30;
  return cut_to(name, kLongest);
}

std::string names_of(const Conclusions& all, const std::vector<std::size_t>& controllers) {
  constexpr std::size_t kNamed = 3;
  if (controllers.size() > kNamed) return fmt::format("{} controllers", controllers.size());
  std::string text;
  for (std::size_t i = 0; i < controllers.size(); ++i)
    text += (i == 0 ? "" : i + 1 == controllers.size() ? " and " : ", ") + name_of(all, controllers[i]);
  return text;
}

Happening& Day::add(Phase phase, TimeNs time, int importance, std::string kind,
                    std::vector<std::string> texts) {
  Happening moment;
  moment.line.phase = phase;
  moment.line.time = time;
  moment.importance = importance;
  moment.kind = std::move(kind);
  moment.texts = std::move(texts);
  moments.push_back(std::move(moment));
  return moments.back();
}

namespace {

// So many lines of one kind are told in one even where there is room.
constexpr std::size_t kTiresome = 4;

std::size_t room_of(const Happening& moment) {
  return moment.line.finding ? kStoryFindingColumns : kStoryColumns;
}

std::string first_that_fits(const Happening& moment) {
  for (const std::string& text : moment.texts)
    if (columns_of(text) <= room_of(moment)) return text;
  return cut_to(moment.texts.back(), room_of(moment));
}

std::string with_suffix(const Happening& moment, const std::string& suffix) {
  return cut_to(moment.texts.back(), room_of(moment) - suffix.size()) + suffix;
}

void in_order(std::vector<Happening>& moments) {
  std::stable_sort(moments.begin(), moments.end(), [](const Happening& a, const Happening& b) {
    // The end is the end, whatever a clock that was put back says.
    const auto last = [](const Happening& m) { return m.line.phase == Phase::end; };
    return last(a) != last(b) ? last(b) : a.line.time < b.line.time;
  });
}

// All moments of this kind become the first of them, which says how many there were.
void fold(std::vector<Happening>& moments, const std::string& kind) {
  Happening* first = nullptr;
  std::uint64_t more = 0;
  TimeNs last = 0;
  std::vector<Happening> kept;
  kept.reserve(moments.size());
  for (Happening& moment : moments) {
    if (moment.kind != kind || first == nullptr) {
      kept.push_back(std::move(moment));
      if (kept.back().kind == kind) first = &kept.back();
      continue;
    }
    first->importance = std::min(first->importance, moment.importance);
    more += moment.stands_for;
    last = std::max(last, moment.line.until.value_or(moment.line.time));
    first->distance_m += moment.distance_m;
  }
  moments = std::move(kept);
  if (first == nullptr || more == 0) return;
  first->stands_for += more;
  first->line.until = last;
  if (first->distance_m > 0)
    first->texts = {fmt::format("{}, {} times {}, {:.1f} km in all", first->texts.back(), first->stands_for,
                                until_words(first->line.time, last), first->distance_m / 1000)};
  else
    first->texts = {
        with_suffix(*first, fmt::format("; {} more {}", more, until_words(first->line.time, last)))};
}

// The kind of which most can be folded; of equally many the one that comes later.
std::string most_repeated(const std::vector<Happening>& moments, std::size_t at_least) {
  std::map<std::string, std::size_t> counts;
  for (const Happening& moment : moments)
    // Each of the technician's own words is worth its line as long as there is room.
    if (!moment.kind.empty() && (at_least < kTiresome || moment.line.phase != Phase::mark))
      ++counts[moment.kind];
  std::string kind;
  std::size_t most = at_least - 1;
  for (const auto& [name, count] : counts)
    if (count > most) {
      most = count;
      kind = name;
    }
  return kind;
}

}  // namespace
}  // namespace story

std::vector<StoryLine> tell_story(const Conclusions& all, const Observations& seen) {
  using namespace story;
  Day day{all, seen, {}};
  tell_beginning(day);
  tell_connections(day);
  tell_work(day);
  tell_key(day);
  tell_trouble(day);
  tell_recorder(day);
  in_order(day.moments);
  const std::size_t room = kStoryLines - 1;  // the end comes on top
  for (;;) {
    const bool full = day.moments.size() > room;
    const std::string kind = most_repeated(day.moments, full ? 2 : kTiresome);
    if (kind.empty()) break;
    fold(day.moments, kind);
  }
  std::uint64_t left_out = 0;
  while (day.moments.size() > room) {
    // The least important, of them the finding of the lowest rank, of them the last.
    const auto weight = [](const Happening& m) {
      return std::pair(m.importance, m.line.finding.value_or(0));
    };
    auto least = day.moments.begin();
    for (auto moment = day.moments.begin(); moment != day.moments.end(); ++moment)
      if (weight(*moment) >= weight(*least)) least = moment;
    left_out += least->stands_for;
    day.moments.erase(least);
  }
  tell_end(day, left_out);
  in_order(day.moments);
  std::vector<StoryLine> lines;
  for (Happening& moment : day.moments) {
    moment.line.text = first_that_fits(moment);
    lines.push_back(std::move(moment.line));
  }
  return lines;
}

}  // namespace tramlog
