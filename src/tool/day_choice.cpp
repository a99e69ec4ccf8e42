#include "tool/day_choice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "exam/words.hpp"
#include "tool/command.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kDaysNamed = 10;

bool only_once(const std::string& path) {
  std::error_code ignored;
  return path == "-" ||
         (std::filesystem::exists(path, ignored) && !std::filesystem::is_regular_file(path, ignored));
}

}  // namespace

std::string dates_words(const SortedDays& sorted) {
  std::string dates;
  const std::size_t skipped = sorted.days.size() - std::min(kDaysNamed, sorted.days.size());
  for (std::size_t i = skipped; i < sorted.days.size(); ++i)
    dates += (dates.empty() ? "" : ", ") + sorted.days[i].date;
  return skipped == 0 ? dates : fmt::format("{} and {} earlier", dates, skipped);
}

Result<std::vector<std::string>> captures_of_day(const SortedDays& sorted, const DayQuestion& question) {
  for (const DayOfCaptures& one : sorted.days)
    if (one.date == question.day) return one.paths;
  return Error{ErrorKind::usage, "there is no capture of the day " + question.day, question.option,
               "choose one of: " + dates_words(sorted)};
}

std::optional<Error> choose_day(std::vector<std::string>& captures, const DayQuestion& question,
                                bool& damaged) {
  const auto pipe = std::find_if(captures.begin(), captures.end(), only_once);
  if (pipe != captures.end() && !question.day.empty())
    return Error{ErrorKind::usage, "days cannot be told from what can be read only once", *pipe,
                 "name files or a folder"};
  if (question.day.empty() && (captures.size() < 2 || pipe != captures.end())) return std::nullopt;
  const SortedDays sorted = days_of(captures);
  if (question.day.empty()) {
    if (sorted.days.size() < 2) return std::nullopt;
    return Error{ErrorKind::usage,
                 fmt::format("{} of {} days: {}", question.whose, sorted.days.size(), dates_words(sorted)),
                 question.where,
                 fmt::format("name one of them: {} {}", question.option, sorted.days.back().date)};
  }
  if (sorted.days.empty())
    return Error{ErrorKind::input,
                 fmt::format("none of {} could be read", counted(captures.size(), "capture", "captures")),
                 question.where,
                 (sorted.unreadable.empty() ? "" : sorted.unreadable.front() + "; ") + "name another folder"};
  auto chosen = captures_of_day(sorted, question);
  if (!chosen) return chosen.error();
  for (const std::string& file : sorted.unreadable)
    fail({ErrorKind::input, "a file is left out", file, "the others are read"});
  damaged = damaged || sorted.damaged;
  captures = std::move(*chosen);
  return std::nullopt;
}

}  // namespace tramlog
