// The check-list's lines of topic "connection" out of what a Dialogue has kept.
#pragma once

#include <string>
#include <vector>

#include "implement/dialogue.hpp"

namespace tramlog {

class DialogueLines {
 public:
  DialogueLines(const Dialogue& dialogue, TimeNs end, std::vector<CheckLine>& lines)
      : of_(dialogue), end_(end), lines_(lines) {}
  /// One line for each code.
  void write();

 private:
  CheckLine& line(const char* code, Verdict verdict, std::string text, const Cases* cases = nullptr);
  void not_shown(const char* code, const std::string& why);
  double limit(const char* key) const { return of_.device_.limits[key]; }

  void status();
  void client();
  void task();
  void pool_refused();
  void pool_activated();
  void pool_broken();
  void version();
  void refusals();
  void answers();
  void values();
  void declared();

  const Dialogue& of_;
  TimeNs end_;
  std::vector<CheckLine>& lines_;
};

}  // namespace tramlog
