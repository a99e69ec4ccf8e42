#include "report/story_page.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog {

void story_page(Page& page, const Conclusions& all) {
  if (all.story.empty()) return;
  // "2026-04-07 06:12:00.000": over several days the day of the month tells which one is meant.
  const auto day = [](TimeNs time) { return format_date_time(time).substr(0, 10); };
  const bool days = std::any_of(all.story.begin(), all.story.end(), [&](const StoryLine& line) {
    return day(line.time) != day(all.story.front().time);
  });
  const bool numbers = std::any_of(all.story.begin(), all.story.end(),
                                   [](const StoryLine& line) { return line.finding.has_value(); });
  page.heading(fmt::format("WHAT HAPPENED, IN ORDER ({}UTC{})", days ? "day and time, " : "",
                           numbers ? "; [1]: finding 1" : ""));
  for (const StoryLine& line : all.story) {
    const std::string time = format_date_time(line.time).substr(days ? 8 : 11, days ? 11 : 8);
    page.item("  " + time + "  ",
              line.text + (line.finding ? fmt::format(" [{}]", *line.finding + 1) : std::string()));
  }
}

}  // namespace tramlog
