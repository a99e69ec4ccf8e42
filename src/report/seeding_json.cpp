#include "report/seeding_json.hpp"

#include <cmath>

#include "base/text.hpp"
#include "exam/words.hpp"
#include "report/pool_outline.hpp"

namespace tramlog {
namespace {

using Json = OrderedJson;

double rounded(double value, int decimals) {
  double scale = 1;
  for (int i = 0; i < decimals; ++i) scale *= 10;
  const double result = std::round(value * scale) / scale;
  return std::isfinite(result) ? result + 0.0 : value;  // + 0.0: no "-0.0"
}
Json number(const std::optional<double>& value, int decimals = 3) {
  return value && std::isfinite(*value) ? Json(rounded(*value, decimals)) : Json(nullptr);
}
template <class T>
Json whole(const std::optional<T>& value) {
  return value ? Json(*value) : Json(nullptr);
}
Json text_or_null(const std::string& text) {
  return text.empty() ? Json(nullptr) : Json(text);
}
Json time_or_null(const std::optional<TimeNs>& time) {
  return time ? Json(format_rfc3339(*time)) : Json(nullptr);
}
Json name_or_null(const Conclusions& all, ControllerId controller) {
  return controller == kNobody ? Json(nullptr) : Json(all.controllers[static_cast<std::size_t>(controller)].name.hex());
}

Json pair_json(const PairRecord& pair) {
  Json steps = Json::array();
  for (const StepRecord& step : pair.steps)
    steps.push_back({{"time", format_rfc3339(step.at.time)},
                     {"frame", step.at.frame},
                     {"from_raw", step.from_raw},
                     {"to_raw", step.to_raw},
                     {"answered", step.answered},
                     {"complete", step.complete},
                     {"dead_time_s", number(step.dead_time_s)},
                     {"rise_time_s", number(step.rise_time_s)},
                     {"overshoot_pct", number(step.overshoot_pct, 2)},
                     {"settled_raw", number(step.settled_raw, 1)}});
  return {{"element", pair.element},
          {"subject", pair.subject},
          {"quantity", pair.quantity},
          {"set_ddi", pair.set_ddi},
          {"actual_ddi", pair.actual_ddi},
          {"set_values", pair.set_count},
          {"actual_values", pair.actual_count},
          {"last_set_raw", whole(pair.last_set_raw)},
          {"last_actual_raw", whole(pair.last_actual_raw)},
          {"range_raw", number(pair.range_raw, 1)},
          {"sample_period_s", number(pair.sample_period_s)},
          {"working_s", rounded(pair.working_s, 3)},
          {"dead_time_s", number(pair.dead_time_s)},
          {"rise_time_s", number(pair.rise_time_s)},
          {"overshoot_pct", number(pair.overshoot_pct, 2)},
          {"settled_error_pct", number(pair.settled_error_pct)},
          {"hunting_amplitude_raw", number(pair.hunting_amplitude_raw, 1)},
          {"hunting_period_s", number(pair.hunting_period_s)},
          {"outside_tolerance_pct", number(pair.outside_tolerance_pct, 2)},
          {"without_set_rate_s", rounded(pair.without_set_rate_s, 3)},
          {"at_limit_s", rounded(pair.at_limit_s, 3)},
          {"steps", std::move(steps)},
          {"steps_not_listed", pair.steps_not_listed}};
}

Json delays_json(const SectionRecord::Delays& delays) {
  return {{"count", delays.count},
          {"median_s", number(delays.median_s)},
          {"spread_s", number(delays.spread_s)},
          {"worst_s", number(delays.worst_s)}};
}

Json section_json(const SectionRecord& section) {
  return {{"section", section.section},
          {"element", whole(section.element)},
          {"subject", section.subject},
          {"x_mm", whole(section.x_mm)},
          {"y_mm", whole(section.y_mm)},
          {"width_mm", whole(section.width_mm)},
          {"outer", section.outer},
          {"on_delay", delays_json(section.on)},
          {"off_delay", delays_json(section.off)},
          {"never_on", section.never_on},
          {"never_off", section.never_off},
          {"flickers", section.flickers},
          {"on_s", rounded(section.on_s, 3)},
          {"outside_work_s", rounded(section.outside_work_s, 3)},
          {"error_s", rounded(section.error_s, 3)},
          {"overridden_s", rounded(section.overridden_s, 3)}};
}

Json total_json(const TotalRecord& total) {
  return {{"element", total.element},
          {"subject", total.subject},
          {"ddi", total.ddi},
          {"first_raw", total.first_raw},
          {"last_raw", total.last_raw},
          {"first_at", format_rfc3339(total.first_at.time)},
          {"last_at", format_rfc3339(total.last_at.time)},
          {"unit", total.unit},
          {"reported", number(total.reported)},
          {"integrated", number(total.integrated)},
          {"difference_pct", number(total.difference_pct)}};
}

Json outline_json(const DevicePool& pool) {
  if (pool.empty()) return nullptr;
  const PoolOutline outline = pool_outline(pool);
  return {{"lines", outline.lines}, {"lines_not_listed", outline.not_listed}, {"digest", outline.digest}};
}

Json link_json(const Conclusions& all, const LinkRecord& link) {
  return {{"controller", name_or_null(all, link.server)},
          {"address", link.server_address},
          {"data_logger", link.data_logger},
          {"state", dialogue_code(link.state)},
          {"version", whole(link.server_version)},
          {"client_version", whole(link.client_version)},
          {"requests", link.requests},
          {"unanswered", link.unanswered},
          {"sets", link.sets},
          {"refused", link.refused},
          {"measurements", link.measurements},
          {"measurements_refused", link.measurements_refused}};
}

}  // namespace

const char* verdict_code(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return "pass";
    case Verdict::attention:
      return "attention";
    case Verdict::not_shown:
      break;
  }
  return "not-shown";
}

const char* source_code(PoolSource source) {
  switch (source) {
    case PoolSource::uploaded:
      return "uploaded";
    case PoolSource::library:
      return "library";
    case PoolSource::given:
      return "given";
    case PoolSource::before_cut:
      return "before-the-cut";
    case PoolSource::none:
      break;
  }
  return "none";
}

const char* dialogue_code(DialogueState state) {
  switch (state) {
    case DialogueState::announced:
      return "announced";
    case DialogueState::versioned:
      return "versioned";
    case DialogueState::labelled:
      return "labelled";
    case DialogueState::uploading:
      return "uploading";
    case DialogueState::active:
      return "active";
    case DialogueState::refused:
      return "refused";
    case DialogueState::lost:
      break;
  }
  return "lost";
}

OrderedJson line_json(const CheckLine& line) {
  Json figures = Json::object();
  for (const Figure& figure : line.figures) figures[figure.key] = number(figure.value, figure.decimals);
  Json moments = Json::array();
  for (const Moment& moment : line.moments)
    moments.push_back({{"time", format_rfc3339(moment.at.time)},
                       {"frame", moment.at.frame > 0 ? Json(moment.at.frame) : Json(nullptr)},
                       {"text", moment.text}});
  return {{"code", line.code},
          {"topic", line.topic},
          {"subject", text_or_null(line.subject)},
          {"element", whole(line.element)},
          {"section", whole(line.section)},
          {"verdict", verdict_code(line.verdict)},
          {"text", line.text},
          {"figures", std::move(figures)},
          {"start", time_or_null(line.start)},
          {"end", time_or_null(line.end)},
          {"moments", std::move(moments)}};
}

OrderedJson implements_json(const Conclusions& all, bool lines) {
  Json list = Json::array();
  for (const ImplementRecord& implement : all.seeding.implements) {
    Json links = Json::array(), pairs = Json::array(), sections = Json::array(), totals = Json::array();
    for (const LinkRecord& link : implement.links) links.push_back(link_json(all, link));
    for (const PairRecord& pair : implement.pairs) pairs.push_back(pair_json(pair));
    for (const SectionRecord& section : implement.sections) sections.push_back(section_json(section));
    for (const TotalRecord& total : implement.totals) totals.push_back(total_json(total));
    const DevicePool& pool = implement.pool;
    Json description = {
        {"source", source_code(implement.source)},
        {"source_text", text_or_null(implement.source_words)},
        {"structure_label", implement.structure ? Json(hex_bytes(implement.structure->bytes, "")) : Json(nullptr)},
        {"localization_label",
         implement.localization ? Json(hex_bytes(*implement.localization, "")) : Json(nullptr)},
        {"activated", implement.activated},
        {"designator", pool.device ? text_or_null(pool.device->designator) : Json(nullptr)},
        {"software_version", pool.device ? text_or_null(pool.device->software_version) : Json(nullptr)},
        {"serial_number", pool.device ? text_or_null(pool.device->serial_number) : Json(nullptr)},
        {"bytes", implement.pool_bytes.size()},
        {"objects", pool.objects()},
        {"problems", pool.problems.size() + pool.problems_not_listed},
        {"outline", outline_json(pool)}};
    Json one = {{"controller", name_or_null(all, implement.client)},
                {"bus", all.buses[implement.bus].name},
                {"address", implement.address},
                {"task_controllers", std::move(links)},
                {"description", std::move(description)},
                {"values", implement.values.size()},
                {"pairs", std::move(pairs)},
                {"sections", std::move(sections)},
                {"totals", std::move(totals)}};
    if (lines) {
      Json told = Json::array();
      for (const CheckLine& line : implement.lines) told.push_back(line_json(line));
      one["lines"] = std::move(told);
    }
    list.push_back(std::move(one));
  }
  return list;
}

}  // namespace tramlog
