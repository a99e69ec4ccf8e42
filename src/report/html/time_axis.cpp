#include "report/html/time_axis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace tramlog {
namespace {

constexpr SpanNs kDay = 24 * kHour;
constexpr SpanNs kTickSteps[] = {
    kMillisecond, 10 * kMillisecond, 100 * kMillisecond, kSecond,       2 * kSecond,  5 * kSecond,
    10 * kSecond, 20 * kSecond,      30 * kSecond,       kMinute,       2 * kMinute,  4 * kMinute,
    5 * kMinute,  10 * kMinute,      20 * kMinute,       30 * kMinute,  kHour,        2 * kHour,
    4 * kHour,    6 * kHour,         12 * kHour,         kDay,          2 * kDay,     5 * kDay,
    10 * kDay,    100 * kDay,        1'000 * kDay,       10'000 * kDay, 50'000 * kDay};
// A label takes up to 80 px, the picture has 500 on a tablet and 300 on a phone.
constexpr int kMostTicks = 6, kMostOnPhone = 3;
// Labels stand to the right of their line: none where it would not fit any more.
constexpr double kLastLabel = 840, kLastOnPhone = 740;

// The smallest step with at most `most` in the span that is a multiple of `of`.
SpanNs tick_step(SpanNs span, int most, SpanNs of) {
  for (const SpanNs step : kTickSteps)
    if (span / step <= most && step % of == 0) return step;
  return kTickSteps[std::size(kTickSteps) - 1];
}

std::string number(double value) {
  std::string text = fmt::format("{:.2f}", value);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text == "-0" ? "0" : text;
}

// Values put onto whole units: a tenth of the bytes, and no eye tells the difference.
class Levels {
 public:
  explicit Levels(const StepPicture& picture) : p_(picture) {}
  int of(float value) const {
    const double span = p_.top > p_.bottom ? p_.top - p_.bottom : 1;
    const double share = std::clamp((static_cast<double>(value) - p_.bottom) / span, 0.0, 1.0);
    return static_cast<int>(std::lround(p_.lower + (p_.upper - p_.lower) * share));
  }

 private:
  const StepPicture& p_;
};

// The way of a pen along values [begin, end), from where it stands on the first one.
std::string way(const Levels& levels, std::span<const float> values, std::size_t begin, std::size_t end) {
  std::string path;
  int level = levels.of(values[begin]);
  std::size_t run = 1;
  for (std::size_t i = begin + 1; i <= end; ++i) {
    const int next = i < end ? levels.of(values[i]) : level;
    if (i < end && next == level) {
      ++run;
      continue;
    }
    path += fmt::format("h{}", run);
    if (next != level) path += fmt::format("v{}", next - level);
    level = next;
    run = 1;
  }
  return path;
}

std::string way_back(const Levels& levels, std::span<const float> values, std::size_t begin,
                     std::size_t end) {
  std::string path;
  int level = levels.of(values[end - 1]);
  std::size_t run = 1;
  for (std::size_t i = end - 1; i > begin; --i) {
    const int next = levels.of(values[i - 1]);
    if (next == level) {
      ++run;
      continue;
    }
    path += fmt::format("h-{}v{}", run, next - level);
    level = next;
    run = 1;
  }
  return path + fmt::format("h-{}", run);
}

// Calls `draw` with begin and end of each stretch in which something was told.
template <class Draw>
void stretches(std::span<const float> values, const Draw& draw) {
  for (std::size_t i = 0; i < values.size();) {
    if (!std::isfinite(values[i])) {
      ++i;
      continue;
    }
    const std::size_t begin = i;
    while (i < values.size() && std::isfinite(values[i])) ++i;
    draw(begin, i);
  }
}

Html path_in(const StepPicture& picture, std::string_view style, const std::string& path) {
  if (path.empty()) return {};
  return Html::markup(fmt::format("<path class=\"{}\" transform=\"translate({} 0) scale({} 1)\" d=\"{}\"/>",
                                  style, number(picture.x), fmt::format("{:.5f}", picture.step), path));
}

}  // namespace

TimeAxis::TimeAxis(TimeNs start, TimeNs end) : start_(start), end_(std::max(start, end)) {
  if (end_ == start_) end_ = later_by(start_, kSecond);  // one packet only
}

double TimeAxis::place(TimeNs time) const {
  const auto whole = static_cast<double>(span_between(start_, end_));
  if (whole <= 0) return 0;
  return static_cast<double>(span_between(start_, time)) / whole * kWidth;
}

double TimeAxis::x(TimeNs time) const {
  return std::clamp(place(time), 0.0, double{kWidth});
}

Html TimeAxis::ticks() const {
  const SpanNs span = span_between(start_, end_);
  const SpanNs minor = tick_step(span, kMostTicks, 1);
  const SpanNs major = tick_step(span, kMostOnPhone, minor);
  const bool days = format_date_time(start_).substr(0, 10) != format_date_time(end_).substr(0, 10);
  std::string lines;
  // Multiples of the step since 1970 are round times of day in UTC.
  const TimeNs rest = ((start_ % minor) + minor) % minor;
  TimeNs at = rest == 0 ? start_ : later_by(start_, minor - rest);
  for (int i = 0; i <= kMostTicks + 1 && at <= end_ && at < INT64_MAX; ++i, at = later_by(at, minor)) {
    const std::string full = format_date_time(at);  // 2026-04-07 06:12:00.000
    std::string label = minor >= kDay      ? full.substr(0, 10)
                        : minor >= kMinute ? (days ? full.substr(5, 11) : full.substr(11, 5))
                        : minor >= kSecond ? full.substr(11, 8)
                                           : full.substr(14, 9);
    const double place = x(at);
    const bool wide_only = at % major != 0 || place > kLastOnPhone;
    lines += fmt::format("<span{} style=\"left:{}%\">{}</span>", wide_only ? " class=\"minor\"" : "",
                         number(place / 10), place > kLastLabel ? "" : label);
  }
  return html_element("div", {{"class", "axis"}, {"aria-hidden", "true"}}, Html::markup(lines));
}

Html TimeAxis::day(const Html& inside) const {
  return html_element("div",
                      {{"class", "day"},
                       {"data-from", std::to_string(start_ / kMillisecond)},
                       {"data-to", std::to_string(end_ / kMillisecond)}},
                      inside);
}

Html html_lane(const Html& what, const Html& words, const Html& picture, LaneHeight height) {
  constexpr const char* kClasses[] = {"lane low", "lane", "lane tall"};
  const Html box = std::string_view(fmt::format("0 0 {} {}", TimeAxis::kWidth, TimeAxis::kHeight));
  return html_element(
             "div", {{"class", kClasses[static_cast<int>(height)]}},
             html_element("div", {{"class", "what"}}, what) + html_element("svg",
                                                                           {{"viewBox", box},
                                                                            {"preserveAspectRatio", "none"},
                                                                            {"role", "img"},
                                                                            {"aria-label", words}},
                                                                           picture)) +
         Html::markup("\n");
}

Html html_lanes(const TimeAxis& axis, const Html& lanes) {
  return lanes.empty() ? lanes : html_element("div", {{"class", "lanes"}}, axis.ticks() + lanes);
}

Html html_key(const std::vector<std::pair<Html, Html>>& signs) {
  Html all;
  const Html box = std::string_view(fmt::format("0 0 {} {}", TimeAxis::kWidth / 10, TimeAxis::kHeight));
  for (const auto& [picture, meaning] : signs)
    all += html_element(
        "li",
        html_element("svg", {{"viewBox", box}, {"preserveAspectRatio", "none"}, {"aria-hidden", "true"}},
                     picture) +
            html_element("span", meaning));
  return html_element("ul", {{"class", "key"}}, all);
}

Html html_patterns() {
  // The veil lets what lies below shine through only faintly.
  return Html::markup(
      R"(<svg class="patterns" width="0" height="0" aria-hidden="true"><defs><pattern id="deaf" width="8" height="50" )"
      R"(patternUnits="userSpaceOnUse"><path class="veil" d="M0 0H8V50H0Z"/>)"
      R"(<path class="hatch" d="M0 50L8 0M-2 12.5L2 -12.5M6 62.5L10 37.5"/></pattern></defs></svg>)"
      "\n");
}

Html html_box(std::string_view style, double x, double width, double y, double height, const Html& words) {
  std::string code = fmt::format("<rect class=\"{}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"", style,
                                 number(x), number(y), number(width), number(height));
  code += words.empty() ? "/>" : "><title>" + words.code() + "</title></rect>";
  return Html::markup(std::move(code));
}

Html html_line(std::string_view style, double x, const Html& words) {
  std::string code = fmt::format("<line class=\"{}\" x1=\"{}\" x2=\"{}\" y1=\"0\" y2=\"{}\"", style,
                                 number(x), number(x), TimeAxis::kHeight);
  code += words.empty() ? "/>" : "><title>" + words.code() + "</title></line>";
  return Html::markup(std::move(code));
}

Html html_dot(std::string_view style, double x, double y, const Html& words) {
  // A line of no length with round ends: its width in pixels is that of the stroke, however the picture is
  // stretched.
  std::string code = fmt::format("<path class=\"{}\" d=\"M{} {}h.01\"", style, number(x), number(y));
  code += words.empty() ? "/>" : "><title>" + words.code() + "</title></path>";
  return Html::markup(std::move(code));
}

Html html_steps(std::string_view style, const StepPicture& picture, std::span<const float> values) {
  const Levels levels(picture);
  std::string path;
  stretches(values, [&](std::size_t begin, std::size_t end) {
    path += fmt::format("M{} {}", begin, levels.of(values[begin])) + way(levels, values, begin, end);
  });
  return path_in(picture, style, path);
}

Html html_area(std::string_view style, const StepPicture& picture, std::span<const float> least,
               std::span<const float> greatest) {
  const Levels levels(picture);
  const std::vector<float> floor(least.empty() ? greatest.size() : 0, static_cast<float>(picture.bottom));
  const std::span<const float> low = least.empty() ? std::span<const float>(floor) : least;
  std::string path;
  stretches(greatest, [&](std::size_t begin, std::size_t end) {
    // Where only one of the two is told, there is no ground between them.
    end = std::min(end, low.size());
    for (std::size_t i = begin; i < end;) {
      while (i < end && !std::isfinite(low[i])) ++i;
      const std::size_t first = i;
      while (i < end && std::isfinite(low[i])) ++i;
      if (first == i) continue;
      path += fmt::format("M{} {}", first, levels.of(greatest[first])) + way(levels, greatest, first, i) +
              fmt::format("V{}", levels.of(low[i - 1])) + way_back(levels, low, first, i) + "Z";
    }
  });
  return path_in(picture, style, path);
}

}  // namespace tramlog
