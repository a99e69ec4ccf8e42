// The truth of implements as JSON (SCENARIO.md, Truth).
#include "stage/implement_json.hpp"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

namespace tramlog::stage {
namespace {

using Json = nlohmann::json;

template <typename T>
Json or_null(const std::optional<T>& value) {
  return value ? Json(*value) : Json();
}
Json time_or_null(const std::optional<TimeNs>& time) {
  return time ? Json(format_rfc3339(*time)) : Json();
}
// Three or six digits are enough, and the same on every machine.
Json rounded(double value, double digits = 1e6) {
  return std::round(value * digits) / digits;
}
Json rounded(const std::optional<double>& value) {
  return value ? rounded(*value) : Json();
}
Json text_or_null(const std::string& text) {
  return text.empty() ? Json() : Json(text);
}

Json meter_json(const MeterTruth& meter) {
  Json steps = Json::array();
  std::vector<double> dead, rise, over;
  for (const StepTruth& step : meter.steps) {
    if (step.dead_time_s) dead.push_back(*step.dead_time_s);
    if (step.rise_time_s) rise.push_back(*step.rise_time_s);
    if (step.overshoot_pct) over.push_back(*step.overshoot_pct);
    steps.push_back({{"at", format_rfc3339(step.at)},
                     {"from_raw", std::llround(step.from)},
                     {"to_raw", std::llround(step.to)},
                     {"dead_time_s", rounded(step.dead_time_s)},
                     {"rise_time_s", rounded(step.rise_time_s)},
                     {"overshoot_pct", rounded(step.overshoot_pct)},
                     {"settled_raw", rounded(step.settled)},
                     {"answered", step.answered}});
  }
  const auto mean = [](const std::vector<double>& values) -> Json {
    if (values.empty()) return {};
    double sum = 0;
    for (const double value : values) sum += value;
    return rounded(sum / static_cast<double>(values.size()));
  };
  return {{"element", meter.element},
          {"designator", meter.designator},
          {"bin", meter.element},
          {"set_ddi", meter.ddis.set_ddi},
          {"actual_ddi", meter.ddis.actual_ddi},
          {"order", meter.order},
          {"dead_time_s", mean(dead)},
          {"rise_time_s", mean(rise)},
          {"overshoot_pct", mean(over)},
          {"settled_error_pct", rounded(meter.settled_error_pct)},
          {"range_raw", std::llround(meter.range)},
          {"hunting_amplitude_raw", rounded(meter.hunting_amplitude)},
          {"hunting_period_s", rounded(meter.hunting_period_s)},
          {"sample_period_s", meter.sample_period_s},
          {"steps", std::move(steps)},
          {"total_ddi", meter.ddis.total_ddi},
          {"total_raw", meter.total},
          {"total_sent_raw", or_null(meter.total_sent)}};
}

Json section_json(const SectionTruth& section) {
  Json on = Json::array(), off = Json::array();
  for (const double delay : section.on_delays) on.push_back(rounded(delay));
  for (const double delay : section.off_delays) off.push_back(rounded(delay));
  return {{"section", section.section},          {"element", section.element},
          {"x_mm", section.place.x_mm},          {"y_mm", section.place.y_mm},
          {"width_mm", section.place.width_mm},  {"on_delays_s", std::move(on)},
          {"off_delays_s", std::move(off)},      {"message_period_s", section.message_period_s},
          {"stuck", text_or_null(section.stuck)}};
}

}  // namespace

nlohmann::json implement_json(const ImplementTruth& truth) {
  Json root = {{"client", truth.client},
               {"name", fmt::format("{:016x}", truth.name)},
               {"task_controller", truth.task_controller},
               {"version", truth.version},
               {"healthy", truth.healthy},
               {"pool",
                {{"structure_label", truth.structure_label},
                 {"localization_label", truth.localization_label},
                 {"extended_label", truth.extended_label},
                 {"bytes", truth.pool_bytes},
                 {"objects", truth.pool_objects},
                 {"uploaded", truth.uploaded},
                 {"activated_at", time_or_null(truth.activated_at)},
                 {"protocol", text_or_null(truth.protocol)}}},
               {"totals",
                {{"area_m2", rounded(truth.area_m2)},
                 {"distance_mm", rounded(truth.distance_mm, 1e3)},
                 {"time_s", rounded(truth.time_s)}}}};
  root["meters"] = Json::array();
  for (const MeterTruth& meter : truth.meters) root["meters"].push_back(meter_json(meter));
  root["sections"] = Json::array();
  for (const SectionTruth& section : truth.sections) root["sections"].push_back(section_json(section));
  root["work"] = Json::array();
  for (const WorkTruth& work : truth.work) {
    root["work"].push_back({{"at", format_rfc3339(work.at)},
                            {"by", work.by},
                            {"element", work.element},
                            {"state", work.on ? 1 : 0}});
  }
  root["speed_sources"] = Json::array();
  for (const auto& [at, source] : truth.speed_sources)
    root["speed_sources"].push_back({{"at", format_rfc3339(at)}, {"source", source}});
  root["faults"] = Json::array();
  for (const FaultTruth& fault : truth.faults) {
    root["faults"].push_back({{"what", fault.what},
                              {"code", fault.code},
                              {"element", or_null(fault.element)},
                              {"section", or_null(fault.section)},
                              {"start", format_rfc3339(fault.start)},
                              {"end", time_or_null(fault.end)}});
  }
  return root;
}

}  // namespace tramlog::stage
