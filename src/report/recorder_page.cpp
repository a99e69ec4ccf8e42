#include "report/recorder_page.hpp"

#include <fmt/format.h>

#include "exam/recorder_words.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

using Json = nlohmann::ordered_json;
using Kind = RecorderNote::Kind;

// A message may wait, and date and time may be told to the full second only.
constexpr SpanNs kSameTime = 2 * kSecond;

std::string shift_words(SpanNs shift, const char* of, const char* against) {
  return fmt::format("{} {} {} {}", of, format_span(magnitude(shift)), shift < 0 ? "behind" : "ahead of", against);
}

std::string clock_words(const Conclusions& all, const ClockComparison& clock) {
  const std::string source =
      fmt::format("{} told by address {}{}", clock.pgn == 65254 ? "date and time (PGN 65254)" : "system time (PGN 126992)",
                  clock.source, all.buses.size() > 1 ? " on " + all.buses[clock.bus].name : "");
  if (magnitude(clock.last_offset) <= kSameTime && magnitude(clock.first_offset) <= kSameTime)
    return fmt::format("Clock: agrees with the bus's {} within 2 s.", source);
  std::string text = fmt::format("Clock: the bus's {} is {}", source,
                                 shift_words(clock.last_offset, "", "the times in this report").substr(1));
  if (magnitude(span_between(clock.first_offset, clock.last_offset)) > kSameTime)
    text += fmt::format("; at first it was {}", shift_words(clock.first_offset, "", "them").substr(1));
  return text + ".";
}

}  // namespace

void recorder_page(Page& page, const Conclusions& all) {
  const RecorderRecord& recorder = all.recorder;
  bool marked = false;
  for (const RecordedNote& noted : recorder.notes) {
    if (noted.note.kind != Kind::mark) continue;
    if (!marked) page.heading("NOTES OF THE TECHNICIAN");
    marked = true;
    page.item(fmt::format("  {}  ", format_time_of_day(noted.time)), noted.note.text);
  }
  const std::vector<LabelledText> lines = recorder_lines(all);
  if (lines.empty()) return;
  page.heading("RECORDER");
  for (const auto& [time, text] : lines) page.item(time.empty() ? "  " : "  " + time + "  ", text);
}

std::vector<LabelledText> recorder_lines(const Conclusions& all) {
  const RecorderRecord& recorder = all.recorder;
  std::vector<LabelledText> lines;
  // With a clock that agrees and no recorder's notes there is nothing that anybody would want to know.
  const bool clock_off = recorder.clock && (magnitude(recorder.clock->last_offset) > kSameTime ||
                                            magnitude(recorder.clock->first_offset) > kSameTime);
  bool other = false;
  for (const RecordedNote& noted : recorder.notes) other = other || noted.note.kind != Kind::mark;
  if (recorder.runs.empty() && !other && !clock_off) return lines;
  if (recorder.clock) lines.emplace_back("", clock_words(all, *recorder.clock));
  for (const RecorderRun& run : recorder.runs) {
    std::string text = fmt::format("Run {}{}, from {}", run.number, run.boot > 0 ? fmt::format(" (boot {})", run.boot) : "",
                                   format_date_time(run.begin));
    text += run.end ? fmt::format(" to {}, ended in good order.", format_date_time(*run.end))
                    : "; its end is not in this recording: it went on, or was cut off.";
    if (run.clock_shift != 0)
      text += fmt::format(" Its times are {}{}.", shift_words(run.clock_shift, "", "the system's clock").substr(1),
                          run.text.empty() ? "" : ": " + run.text);
    lines.emplace_back("", text);
  }
  for (const RecordedNote& noted : recorder.notes) {
    if (noted.note.kind == Kind::mark) continue;
    const std::string bus = noted.note.of_bus && noted.bus < all.buses.size() ? all.buses[noted.bus].name + ": " : "";
    lines.emplace_back(format_time_of_day(noted.time), bus + note_words(noted.note) + ".");
  }
  return lines;
}

Json recorder_json(const Conclusions& all) {
  const RecorderRecord& recorder = all.recorder;
  if (recorder.empty()) return nullptr;
  Json runs = Json::array(), notes = Json::array();
  for (const RecorderRun& run : recorder.runs)
    runs.push_back({{"number", run.number},
                    {"boot", run.boot > 0 ? Json(run.boot) : Json(nullptr)},
                    {"start", format_rfc3339(run.begin)},
                    {"end", run.end ? Json(format_rfc3339(*run.end)) : Json(nullptr)},
                    {"clock_shift_s", to_seconds(run.clock_shift)},
                    {"text", run.text}});
  for (const RecordedNote& noted : recorder.notes)
    notes.push_back({{"time", format_rfc3339(noted.time)},
                     {"kind", note_code(noted.note.kind)},
                     {"bus", noted.note.of_bus && noted.bus < all.buses.size() ? Json(all.buses[noted.bus].name) : Json(nullptr)},
                     {"number", noted.note.number},
                     {"span_s", to_seconds(noted.note.span)},
                     {"text", noted.note.text}});
  Json clock = nullptr;
  if (recorder.clock) {
    const ClockComparison& c = *recorder.clock;
    clock = {{"bus", all.buses[c.bus].name},
             {"pgn", c.pgn},
             {"source", c.source},
             {"count", c.count},
             {"first", format_rfc3339(c.first.time)},
             {"last", format_rfc3339(c.last.time)},
             {"bus_minus_recording_first_s", to_seconds(c.first_offset)},
             {"bus_minus_recording_last_s", to_seconds(c.last_offset)},
             {"bus_minus_recording_least_s", to_seconds(c.least)},
             {"bus_minus_recording_greatest_s", to_seconds(c.greatest)}};
  }
  return {{"runs", std::move(runs)}, {"notes", std::move(notes)}, {"clock", std::move(clock)}};
}

}  // namespace tramlog
