#include <nlohmann/json.hpp>

#include "base/text.hpp"
#include "exam/words.hpp"
#include "report/recorder_page.hpp"
#include "report/series_json.hpp"
#include "report/device_tree.hpp"
#include "report/devices_page.hpp"
#include "report/seeding_json.hpp"

namespace tramlog {
namespace {

using Json = OrderedJson;

Json text_or_null(const std::string& text) {
  return text.empty() ? Json(nullptr) : Json(text);
}
Json object_or_null(std::uint16_t id) {
  return id == kNullObject ? Json(nullptr) : Json(id);
}

Json value_json(const TreeValue& value) {
  Json made = {{"ddi", value.ddi}, {"name", value.name}};
  if (value.variable != nullptr) {
    Json triggers = Json::array();
    const std::string words = trigger_words(value.variable->triggers);
    for (std::size_t at = 0; at < words.size();) {
      const std::size_t end = std::min(words.find(", ", at), words.size());
      triggers.push_back(words.substr(at, end - at));
      at = end + 2;
    }
    made["object"] = value.variable->id;
    made["kind"] = "variable";
    made["settable"] = value.variable->settable();
    made["default_set"] = (value.variable->properties & 0x01) != 0;
    made["triggers"] = std::move(triggers);
    made["presentation"] = object_or_null(value.variable->presentation);
  } else if (value.property != nullptr) {
    made["object"] = value.property->id;
    made["kind"] = "property";
    made["raw"] = value.property->value;
    made["shown"] = value.shown;
    made["presentation"] = object_or_null(value.property->presentation);
  } else {
    made["object"] = nullptr;
    made["kind"] = "not-in-description";
  }
  if (value.value == nullptr) {
    if (value.property == nullptr) made["value"] = nullptr;
    return made;
  }
  const LastValue& last = *value.value;
  if (last.by_device)
    made["value"] = {{"raw", last.raw},
                     {"shown", value.shown},
                     {"time", format_rfc3339(last.at.time)},
                     {"frame", last.at.frame},
                     {"count", last.count},
                     {"least_raw", last.least_raw},
                     {"greatest_raw", last.greatest_raw}};
  else
    made["value"] = nullptr;
  made["set"] = last.set_raw ? Json{{"raw", *last.set_raw},
                                    {"shown", last.by_device ? value.set_shown : value.shown},
                                    {"time", format_rfc3339(last.set_at->time)},
                                    {"frame", last.set_at->frame}}
                             : Json(nullptr);
  return made;
}

Json element_json(const ImplementRecord& implement, const TreeElement& element) {
  Json values = Json::array();
  for (const TreeValue& value : element.values) values.push_back(value_json(value));
  Json made = {{"element", element.number}};
  if (element.object != nullptr) {
    const ElementObject* parent = implement.pool.element_by_id(element.object->parent);
    made["object"] = element.object->id;
    made["type"] = element.object->type;
    made["type_term"] = element_type_term(element.object->type);
    made["designator"] = text_or_null(element.object->designator);
    made["parent"] = parent != nullptr ? Json(parent->number) : Json(nullptr);
  } else {
    made["object"] = nullptr;
  }
  made["values"] = std::move(values);
  return made;
}

Json link_json(const Conclusions& all, const LinkRecord& link) {
  Json events = Json::array();
  for (const LinkEvent& event : link.events)
    events.push_back({{"time", format_rfc3339(event.at.time)},
                      {"frame", event.at.frame > 0 ? Json(event.at.frame) : Json(nullptr)},
                      {"text", event.text},
                      {"trouble", event.trouble}});
  return {{"controller", link.server == kNobody
                             ? Json(nullptr)
                             : Json(all.controllers[static_cast<std::size_t>(link.server)].name.hex())},
          {"address", link.server_address},
          {"data_logger", link.data_logger},
          {"state", dialogue_code(link.state)},
          {"version", link.server_version ? Json(*link.server_version) : Json(nullptr)},
          {"client_version", link.client_version ? Json(*link.client_version) : Json(nullptr)},
          {"requests", link.requests},
          {"unanswered", link.unanswered},
          {"sets", link.sets},
          {"acknowledged", link.acknowledged},
          {"refused", link.refused},
          {"measurements", link.measurements},
          {"measurements_refused", link.measurements_refused},
          {"events", std::move(events)},
          {"events_not_listed", link.events_not_listed}};
}

}  // namespace

std::string devices_json(const Report& report, const Schema& schema, const DevicesOptions& options) {
  const Conclusions& all = report.found;
  Json implements = Json::array();
  for (const ImplementRecord& implement : all.seeding.implements) {
    const DevicePool& pool = implement.pool;
    Json elements = Json::array(), problems = Json::array(), links = Json::array(), presentations = Json::array();
    for (const TreeElement& element : device_tree(implement, schema, options.element))
      elements.push_back(element_json(implement, element));
    for (const PoolProblem& problem : pool.problems)
      problems.push_back({{"byte", problem.offset},
                          {"object", object_or_null(problem.object)},
                          {"broken", problem.broken},
                          {"text", problem.what}});
    for (const PresentationObject& one : pool.presentations)
      presentations.push_back({{"object", one.id},
                               {"offset", one.value_offset},
                               {"scale", one.scale},
                               {"decimals", one.decimals},
                               {"unit", one.unit}});
    for (const LinkRecord& link : implement.links) links.push_back(link_json(all, link));
    const auto device = [&](std::string DeviceObject::*member) {
      return pool.device ? text_or_null((*pool.device).*member) : Json(nullptr);
    };
    implements.push_back(
        {{"controller", implement.client == kNobody
                            ? Json(nullptr)
                            : Json(all.controllers[static_cast<std::size_t>(implement.client)].name.hex())},
         {"bus", all.buses[implement.bus].name},
         {"address", implement.address},
         {"description",
          {{"source", source_code(implement.source)},
           {"source_text", text_or_null(implement.source_words)},
           {"activated", implement.activated},
           {"structure_label", implement.structure ? Json(hex_bytes(implement.structure->bytes, "")) : Json(nullptr)},
           {"localization_label",
            implement.localization ? Json(hex_bytes(*implement.localization, "")) : Json(nullptr)},
           {"designator", device(&DeviceObject::designator)},
           {"software_version", device(&DeviceObject::software_version)},
           {"serial_number", device(&DeviceObject::serial_number)},
           {"bytes", implement.pool_bytes.size()},
           {"objects", pool.objects()},
           {"problems", std::move(problems)},
           {"problems_not_listed", pool.problems_not_listed}}},
         {"elements", std::move(elements)},
         {"presentations", std::move(presentations)},
         {"values_not_kept", implement.values_not_kept},
         {"task_running", implement.task_running ? Json(*implement.task_running) : Json(nullptr)},
         {"task_controllers", std::move(links)}});
  }
  const Json root = {{"schema", "tramlog.devices/1"},
                     {"capture",
                      {{"files", report.files},
                       {"start", format_rfc3339(all.start)},
                       {"end", format_rfc3339(all.end)},
                       {"frames", all.frames}}},
                     {"machine", machine_json(all, options.format.place)},
                     {"notes", notes_json(all)},
                     {"implements", std::move(implements)}};
  return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace tramlog
