#include "implement/line_tools.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace tramlog {

CheckLine make_line(const char* code, const char* topic, std::string subject, Verdict verdict,
                    std::string text) {
  CheckLine line;
  line.code = code;
  line.topic = topic;
  line.subject = std::move(subject);
  line.verdict = verdict;
  line.text = std::move(text);
  return line;
}

CheckLine& with(CheckLine& line, const char* key, double value, int decimals) {
  if (std::isfinite(value)) line.figures.push_back({key, value, decimals});
  return line;
}

void add_moment(CheckLine& line, Mark at, std::string text) {
  if (line.moments.size() < kMaxMoments) line.moments.push_back({at, std::move(text)});
}

std::optional<Spread> spread_of(std::vector<double> values) {
  if (values.empty()) return std::nullopt;
  std::sort(values.begin(), values.end());
  const auto at = [&](double share) {
    const double place = share * static_cast<double>(values.size() - 1);
    const auto below = static_cast<std::size_t>(place);
    const std::size_t above = std::min(below + 1, values.size() - 1);
    return values[below] + (place - static_cast<double>(below)) * (values[above] - values[below]);
  };
  return Spread{at(0.5), at(0.95) - at(0.05), values.front(), values.back()};
}

std::string seconds_words(double seconds) {
  if (!std::isfinite(seconds)) return "unknown time";
  const double size = std::abs(seconds);
  if (size < 10) return fmt::format("{:.2f} s", seconds);
  if (size < 120) return fmt::format("{:.0f} s", seconds);
  const double whole = std::round(seconds);
  if (size < 7200) return fmt::format("{:.0f} min {:.0f} s", std::trunc(whole / 60), std::abs(std::fmod(whole, 60)));
  return fmt::format("{:.0f} h {:.0f} min", std::trunc(whole / 3600), std::abs(std::trunc(std::fmod(whole, 3600) / 60)));
}

std::string time_of_day(TimeNs time) {
  return format_time_of_day(time);
}

std::string counted_words(std::uint64_t count, const char* one, const char* many) {
  return fmt::format("{} {}", count, count == 1 ? one : many);
}

}  // namespace tramlog
