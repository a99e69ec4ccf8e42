#include "slice/around.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr int kLongMargins = 6;  // what lasts longer than so many margins is kept at its ends

struct Stretched {
  TimeNs start = 0;
  std::optional<TimeNs> end;
  bool expected = false;  // nothing is wrong: it goes with the machine's power-down
};

/// None: no such word.
std::optional<std::vector<Stretched>> moments_of(const Conclusions& all, std::string_view what) {
  std::vector<Stretched> found;
  if (what == "dropouts") {
    for (const Dropout& dropout : all.dropouts)
      found.push_back({dropout.start.time, dropout.end ? std::optional(dropout.end->time) : std::nullopt,
                       dropout.kind == DropoutKind::power_down});
  } else if (what == "faults") {
    for (const Fault& fault : all.faults) found.push_back({fault.start, fault.end, false});
  } else if (what == "findings") {
    for (const Finding& finding : all.findings) {
      // All that it consists of; its consequences come with it.
      Stretched one{finding.start, finding.start, false};
      const auto reach = [&](std::optional<TimeNs> end) {
        if (end) one.end = std::max(one.end.value_or(*end), *end);
      };
      for (const std::size_t i : finding.faults) reach(all.faults[i].end);
      for (const std::size_t i : finding.dropouts)
        if (all.dropouts[i].end) reach(all.dropouts[i].end->time);
      found.push_back(one);
    }
  } else if (what == "notes") {
    for (const RecordedNote& noted : all.recorder.notes)
      if (noted.note.kind == RecorderNote::Kind::mark) found.push_back({noted.time, noted.time, false});
  } else {
    return std::nullopt;
  }
  return found;
}

bool any_unexpected(const std::vector<Stretched>& moments) {
  return std::any_of(moments.begin(), moments.end(), [](const Stretched& one) { return !one.expected; });
}

/// What else there is, for whoever asked for what there is not.
std::string what_there_is(const Conclusions& all) {
  std::string words;
  for (const char* what : {"findings", "dropouts", "faults", "notes"})
    if (any_unexpected(*moments_of(all, what))) words += fmt::format("{}{}", words.empty() ? "" : ", ", what);
  return words.empty() ? "choose a time with --from and --to"
                       : fmt::format("it has {}; or choose a time with --from and --to", words);
}

}  // namespace

std::vector<SliceSpan> spans_of(TimeNs start, std::optional<TimeNs> end, SpanNs margin) {
  const TimeNs until = std::max(start, end.value_or(start));
  const SliceSpan first{later_by(start, -margin), later_by(until, margin)};
  if (span_between(start, until) / kLongMargins <= margin) return {first};
  return {{first.from, later_by(start, margin)}, {later_by(until, -margin), first.to}};
}

Result<Around> spans_around(const Conclusions& all, std::string_view what, SpanNs margin) {
  const std::size_t colon = what.find(':');
  const std::string_view word = what.substr(0, colon);
  const auto moments = moments_of(all, word);
  const std::string shown = printable_utf8(what);
  if (!moments)
    return Error{ErrorKind::usage, "nothing is called \"" + shown + "\"", "--around",
                 "one of: dropouts, faults, findings, notes; one of them by number: dropouts:2"};
  Around around;
  std::size_t from = 0, to = moments->size();
  if (colon != std::string_view::npos) {
    const std::string_view number = what.substr(colon + 1);
    std::size_t place = 0;
    const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), place);
    if (error != std::errc{} || end != number.data() + number.size() || place == 0)
      return Error{ErrorKind::usage, "\"" + shown + "\" has no number behind its colon", "--around",
                   "for example dropouts:2"};
    if (place > moments->size())
      return Error{ErrorKind::usage,
                   fmt::format("the report has {} {}, not {}", moments->size(), word, place), "--around",
                   "see tramlog report --format json"};
    from = place - 1;
    to = place;
  }
  const bool one = colon != std::string_view::npos;  // by its number: whatever it is
  if (!one && !any_unexpected(*moments))
    return Error{ErrorKind::usage,
                 fmt::format("the report has no {}{}", word, moments->empty() ? "" : " but those of the power-down"),
                 "--around", what_there_is(all)};
  for (std::size_t i = from; i < to; ++i)
    if (one || !(*moments)[i].expected)
      for (const SliceSpan& span : spans_of((*moments)[i].start, (*moments)[i].end, margin))
        around.spans.push_back(span);
  around.spans = joined_spans(std::move(around.spans));
  around.why = colon == std::string_view::npos
                   ? "around " + std::string(word)
                   : fmt::format("around {} {}", word.substr(0, word.size() - 1), to);
  return around;
}

}  // namespace tramlog
