// The section "WHAT HAPPENED, IN ORDER" of the report for people.
#pragma once

#include <string>
#include <vector>

#include "exam/conclusions.hpp"
#include "report/page.hpp"

namespace tramlog {

/// What stands before each line of the story: as much of date and time as tells the lines apart.
struct StoryTimes {
  std::string explained;  // "day and time, UTC"
  std::vector<std::string> times;
};
StoryTimes story_times(const Conclusions& all);

void story_page(Page& page, const Conclusions& all);

}  // namespace tramlog
