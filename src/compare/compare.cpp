#include "compare/compare.hpp"

#include <algorithm>

#include "compare/desk.hpp"

namespace tramlog {
namespace {

constexpr int kDeepest = 64;  // a report of our own has some ten levels

// A parser that gives up on deep nesting: nobody's report is.
nlohmann::json parsed(const std::string& text) {
  bool too_deep = false;
  const auto look = [&](int depth, nlohmann::json::parse_event_t, nlohmann::json&) {
    too_deep = too_deep || depth > kDeepest;
    return !too_deep;
  };
  nlohmann::json document = nlohmann::json::parse(text, look, false);
  return too_deep ? nlohmann::json() : document;
}

}  // namespace

Result<CompareSide> compare_side(const std::string& text, const std::string& called) {
  nlohmann::json document = parsed(text);
  if (!document.is_object())
    return Error{ErrorKind::input, "this is no JSON report", called,
                 "give a capture, or what tramlog report --format json wrote"};
  const std::string schema = text_of(document, "schema");
  if (schema != "tramlog.report/1")
    return Error{
        ErrorKind::input,
        schema.empty() ? "this JSON file does not say what it is" : "this JSON file is \"" + schema + "\"",
        called, "give a report as tramlog report --format json writes it (tramlog.report/1)"};
  return CompareSide{called, std::move(document)};
}

std::size_t Comparison::count(Change change) const {
  return static_cast<std::size_t>(std::count_if(
      lines.begin(), lines.end(), [&](const ChangeLine& line) { return line.change == change; }));
}

Comparison compare(const CompareSide& before, const CompareSide& after) {
  Comparison comparison;
  const SideFacts was = facts_of(before), is = facts_of(after);
  comparison.before = was.summary;
  comparison.after = is.summary;
  CompareDesk desk{was, is, find_parties(was, is), comparison, {}, {}};
  tell_doubts(desk);
  compare_controllers(desk);
  compare_trouble(desk);
  compare_notes(desk);
  compare_implements(desk);
  compare_buses(desk);
  // What can only be told for a recording of that length stands last.
  std::stable_sort(comparison.lines.begin(), comparison.lines.end(),
                   [](const ChangeLine& a, const ChangeLine& b) {
                     return std::pair(a.change, a.too_short) < std::pair(b.change, b.too_short);
                   });
  return comparison;
}

const char* change_code(Change change) {
  constexpr const char* kCodes[] = {"worse", "better", "changed", "other"};
  return kCodes[static_cast<int>(change)];
}

const char* verdict_of(const Comparison& comparison) {
  for (const Change change : {Change::worse, Change::better, Change::other, Change::noted})
    if (comparison.count(change) > 0) return change_code(change);
  return "same";
}

}  // namespace tramlog
