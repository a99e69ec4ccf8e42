// Lanes of pictures under one time axis. Words stand beside the pictures as HTML, never in them: so a picture
// may be stretched to any width and nothing is clipped or overlaps.
#pragma once

#include <span>
#include <string>

#include "base/time.hpp"
#include "report/html/html.hpp"

namespace tramlog {

class TimeAxis {
 public:
  static constexpr int kWidth = 1000;  // units of every picture from start to end
  static constexpr int kHeight = 100;  // .. and from top to bottom

  TimeAxis(TimeNs start, TimeNs end);

  /// Where a moment lies: 0 to kWidth; what lies before or after is put to the edge.
  double x(TimeNs time) const;
  /// Where it lies, beyond the edges, too: what is drawn there the picture cuts off.
  double place(TimeNs time) const;
  /// Lines and times behind the lanes; few enough for a phone, some more for a wide screen.
  Html ticks() const;
  /// All groups of lanes that belong together: what the script zooms at once.
  Html day(const Html& inside) const;

 private:
  TimeNs start_, end_;
};

enum class LaneHeight : unsigned char { low, usual, tall };

/// One lane: `what` beside or above its picture, `words` what the picture shows for those who cannot see it.
Html html_lane(const Html& what, const Html& words, const Html& picture,
               LaneHeight height = LaneHeight::usual);
/// Lanes with the axis behind them.
Html html_lanes(const TimeAxis& axis, const Html& lanes);
/// One sign of the legend: a small picture of kWidth / 10 x kHeight units, and its meaning.
Html html_key(const std::vector<std::pair<Html, Html>>& signs);
/// Patterns that pictures refer to; once a page, before the first picture.
Html html_patterns();

/// A rectangle with its words for whoever points at it; no words: none. `style` is a class of the style
/// sheet.
Html html_box(std::string_view style, double x, double width, double y, double height,
              const Html& words = {});
/// A vertical line over the whole height.
Html html_line(std::string_view style, double x, const Html& words = {});

/// A dot that stays round; `style` gives its width as stroke.
Html html_dot(std::string_view style, double x, double y, const Html& words = {});

/// Values over equal steps of time, drawn as steps; NaN: nothing is drawn there.
struct StepPicture {
  double x = 0, step = 0;                       // of the first value, and of each: units of the axis
  double bottom = 0, top = 1;                   // values at the lower and the upper edge
  double lower = TimeAxis::kHeight, upper = 0;  // edges in units of the picture
};
/// A line through the values.
Html html_steps(std::string_view style, const StepPicture& picture, std::span<const float> values);
/// The ground between two lines; `least` empty: from the lower edge up.
Html html_area(std::string_view style, const StepPicture& picture, std::span<const float> least,
               std::span<const float> greatest);

}  // namespace tramlog
