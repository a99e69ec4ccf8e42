#include "report/story_page.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog {

void story_page(Page& page, const Conclusions& all) {
  if (all.story.empty()) return;
  // Of "2026-04-07 06:12:00.000" what tells the lines apart: the time, day and time, or month, day and
  // minute.
  const auto differ = [&](std::size_t length) {
    return std::any_of(all.story.begin(), all.story.end(), [&](const StoryLine& line) {
      return format_date_time(line.time).substr(0, length) !=
             format_date_time(all.story.front().time).substr(0, length);
    });
  };
  const bool months = differ(7), days = differ(10);
  const bool numbers = std::any_of(all.story.begin(), all.story.end(),
                                   [](const StoryLine& line) { return line.finding.has_value(); });
  page.heading(fmt::format("WHAT HAPPENED, IN ORDER ({}UTC{})",
                           months ? "date and time, "
                           : days ? "day and time, "
                                  : "",
                           numbers ? "; [1]: finding 1" : ""));
  for (const StoryLine& line : all.story) {
    const std::string time = format_date_time(line.time).substr(months ? 5 : days ? 8 : 11, days ? 11 : 8);
    page.item("  " + time + "  ",
              line.text + (line.finding ? fmt::format(" [{}]", *line.finding + 1) : std::string()));
  }
}

}  // namespace tramlog
