#include <nlohmann/json.hpp>

#include "report/days.hpp"

namespace tramlog {

std::string days_json(const DaysReport& report) {
  using Json = nlohmann::ordered_json;
  const auto text_or_null = [](const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); };
  const auto number = [](const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); };
  Json days = Json::array(), troubles = Json::array();
  for (const DayRecord& day : report.days)
    days.push_back({{"date", day.date},
                    {"start", format_rfc3339(day.start)},
                    {"end", format_rfc3339(day.end)},
                    {"machine", text_or_null(day.machine)},
                    {"captures", day.captures},
                    {"captures_count", day.capture_count},
                    {"frames", day.frames},
                    {"driven_s", to_seconds(day.worked)},
                    {"blind_s", to_seconds(day.blind)},
                    {"engine_hours_first", number(day.hours.hours_first)},
                    {"engine_hours_last", number(day.hours.hours_last)},
                    {"controllers", day.controllers},
                    {"dropouts", day.dropouts},
                    {"faults", day.faults},
                    {"warnings", day.warnings},
                    {"notes", day.notes},
                    {"wrong", day.wrong},
                    {"damaged", day.damaged},
                    {"main_finding", text_or_null(day.main)},
                    {"first_step", text_or_null(day.step)}});
  std::size_t not_listed = 0;
  for (const AcrossDays& one : across_days(report, &not_listed))
    troubles.push_back({{"what", one.words},
                        {"dates", one.dates},
                        {"count", one.count},
                        {"first", format_rfc3339(one.first)},
                        {"last", format_rfc3339(one.last)},
                        {"latest", text_or_null(one.latest)}});
  const Json root = {{"schema", "tramlog.days/1"},
                     {"days", std::move(days)},
                     {"troubles", std::move(troubles)},
                     {"troubles_not_listed", not_listed},
                     {"unreadable", report.unreadable}};
  return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace tramlog
