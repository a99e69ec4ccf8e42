#include "report/story_page.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog {

StoryTimes story_times(const Conclusions& all) {
  // Of "2026-04-07 06:12:00.000" what tells the lines apart: the time, day and time, or month, day and
  // minute.
  const auto differ = [&](std::size_t length) {
    return std::any_of(all.story.begin(), all.story.end(), [&](const StoryLine& line) {
      return format_date_time(line.time).substr(0, length) !=
             format_date_time(all.story.front().time).substr(0, length);
    });
  };
  const bool months = differ(7), days = differ(10);
  StoryTimes told;
  told.explained = months ? "date and time, UTC" : days ? "day and time, UTC" : "UTC";
  for (const StoryLine& line : all.story)
    told.times.push_back(format_date_time(line.time).substr(months ? 5 : days ? 8 : 11, days ? 11 : 8));
  return told;
}

void story_page(Page& page, const Conclusions& all) {
  if (all.story.empty()) return;
  const StoryTimes told = story_times(all);
  const bool numbers = std::any_of(all.story.begin(), all.story.end(),
                                   [](const StoryLine& line) { return line.finding.has_value(); });
  page.heading(fmt::format("WHAT HAPPENED, IN ORDER ({}{})", told.explained, numbers ? "; [1]: finding 1" : ""));
  for (std::size_t i = 0; i < all.story.size(); ++i) {
    const StoryLine& line = all.story[i];
    page.item("  " + told.times[i] + "  ",
              line.text + (line.finding ? fmt::format(" [{}]", *line.finding + 1) : std::string()));
  }
}

}  // namespace tramlog
