#include <fmt/format.h>

#include "compare/compare.hpp"
#include "compare/words.hpp"
#include "exam/words.hpp"
#include "report/page.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kTold = 40;  // lines of one verdict

}  // namespace

std::string compare_page(const Comparison& comparison, bool unicode) {
  Page page(unicode);
  const std::string machine = machine_of(comparison);
  page.item("", machine.empty() ? "COMPARISON" : "COMPARISON: " + machine);
  page.item("Before  ", fmt::format("{}: {}", comparison.before.called, side_words(comparison.before)));
  page.item("After   ", fmt::format("{}: {}", comparison.after.called, side_words(comparison.after)));
  page.heading("ANSWER");
  page.item("  * ", verdict_words(comparison));
  for (const std::string& worst : worst_words(comparison)) page.item("    WORSE  ", worst);
  page.item("  * ", compared_words(comparison));
  for (const std::string& doubt : comparison.doubts) page.item("  * ", "DOUBT  " + doubt);
  for (const Change change : {Change::worse, Change::better, Change::noted, Change::other}) {
    const std::size_t count = comparison.count(change);
    if (count == 0) continue;
    page.heading(change_heading(change));
    std::size_t told = 0;
    for (const ChangeLine& line : comparison.lines)
      if (line.change == change && ++told <= kTold) page.item("  * ", line_words(line));
    if (count > kTold)
      page.item("  ", fmt::format("{} in the JSON comparison.",
                                  counted(count - kTold, "more stands", "more stand")));
  }
  if (comparison.not_listed > 0)
    page.item("", fmt::format("{} left out.",
                              counted(comparison.not_listed, "more difference is", "more differences are")));
  return page.take();
}

std::string compare_json(const Comparison& comparison) {
  using Json = nlohmann::ordered_json;
  const auto side = [](const SideSummary& s) {
    return Json{
        {"files", s.files},           {"machine", s.machine.empty() ? Json(nullptr) : Json(s.machine)},
        {"start", s.start},           {"end", s.end},
        {"duration_s", s.duration_s}, {"heard_s", s.heard_s},
        {"blind_s", s.blind_s},       {"controllers", s.controllers},
        {"private", s.is_private}};
  };
  const auto number = [](const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); };
  const auto change = [&](const ChangeLine& line) {
    return Json{{"verdict", change_code(line.change)},
                {"topic", line.topic},
                {"code", line.code},
                {"subject", line.subject.empty() ? Json(nullptr) : Json(line.subject)},
                {"text", line.text},
                {"before", number(line.before)},
                {"after", number(line.after)},
                {"unit", line.unit.empty() ? Json(nullptr) : Json(line.unit)},
                {"too_short", line.too_short}};
  };
  Json changes = Json::array();
  for (const ChangeLine& line : comparison.lines) {
    Json one = change(line);
    one["counted"] = Json::array();
    for (const ChangeLine& counted : line.counted) one["counted"].push_back(change(counted));
    changes.push_back(std::move(one));
  }
  const Json root = {{"schema", "tramlog.compare/1"},
                     {"verdict", verdict_of(comparison)},
                     {"worse", comparison.count(Change::worse)},
                     {"better", comparison.count(Change::better)},
                     {"changed", comparison.count(Change::noted)},
                     {"other", comparison.count(Change::other)},
                     {"before", side(comparison.before)},
                     {"after", side(comparison.after)},
                     {"doubts", comparison.doubts},
                     {"compared", comparison.compared},
                     {"within_noise", comparison.within_noise},
                     {"changes", std::move(changes)},
                     {"changes_not_listed", comparison.not_listed}};
  return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace tramlog
