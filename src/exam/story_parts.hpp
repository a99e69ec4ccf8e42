// Between the files story*.cpp: moments that may become lines.
#pragma once

#include <string>
#include <vector>

#include "exam/story.hpp"

namespace tramlog::story {

/// What is left out first has the highest number.
enum Importance : int {
  kStays = 0,
  kRecorder = 1,
  kMark = 1,
  kFinding = 2,
  kWork = 2,
  kFault = 3,
  kKey = 4,
  kLate = 5,
  kWarning = 5,
  kDriving = 6,
  kConnection = 7,
  kAside = 8
};

struct Happening {
  StoryLine line;  // without its text
  int importance = kAside;
  std::string kind;                // moments of one kind can be told in one line
  std::vector<std::string> texts;  // the same said at length and in brief; the first that fits is taken; the
                                   // last one says no numbers: it is what is told of many
  std::uint64_t stands_for = 1;    // so many moments
  double distance_m = 0;           // work and driving
};

/// Moments that more than one file's lines need to know.
struct Day {
  const Conclusions& all;
  const Observations& seen;
  std::vector<Happening> moments;
  Happening& add(Phase phase, TimeNs time, int importance, std::string kind, std::vector<std::string> texts);
};

// story_machine.cpp: what the machine did
void tell_beginning(Day& day);
void tell_connections(Day& day);
void tell_work(Day& day);
void tell_key(Day& day);
void tell_end(Day& day, std::uint64_t left_out);
// story_trouble.cpp: what went wrong, the recorder's own, marks
void tell_trouble(Day& day);
void tell_recorder(Day& day);

/// The roster's label, else the function's term without what stands in parentheses; safe to print.
std::string name_of(const Conclusions& all, std::size_t controller);
/// "a, b and c"; more than three are counted: "7 controllers".
std::string names_of(const Conclusions& all, const std::vector<std::size_t>& controllers);
std::size_t columns_of(const std::string& text);
/// Cut at a blank so that it takes no more columns; ".." shows it.
std::string cut_to(const std::string& text, std::size_t columns);
/// "until 14:02:07"; on another day "until 04-09".
std::string until_words(TimeNs from, TimeNs to);

}  // namespace tramlog::story
