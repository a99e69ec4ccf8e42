#include "report/head.hpp"
#include "report/recorder_page.hpp"
#include "report/devices_page.hpp"

#include <fmt/format.h>

#include "base/text.hpp"
#include "exam/words.hpp"
#include "report/device_tree.hpp"
#include "report/page.hpp"
#include "report/seeding_json.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxProblemsShown = 50;

std::optional<std::size_t> controller_of(ControllerId id) {
  return id == kNobody ? std::nullopt : std::optional(static_cast<std::size_t>(id));
}

std::string value_line(const TreeValue& value) {
  std::string text = fmt::format("{} (DDI {})", value.name, value.ddi);
  if (!value.shown.empty()) text += ": " + value.shown;
  if (value.property != nullptr)
    text += " (fixed)";
  else if (value.value == nullptr)
    text += ": no value on the bus";
  else if (value.value->by_device)
    text += fmt::format(" at {}", mark_words(value.value->at));
  else
    text += fmt::format(" (set at {}, never reported)", mark_words(value.value->at));
  if (value.value != nullptr && value.value->by_device && !value.set_shown.empty())
    text += fmt::format("; set to {} at {}", value.set_shown, format_time_of_day(value.value->set_at->time));
  if (value.variable != nullptr) {
    std::string can = value.variable->settable() ? "settable" : "";
    if (const std::string triggers = trigger_words(value.variable->triggers); !triggers.empty())
      can += fmt::format("{}told by {}", can.empty() ? "" : ", ", triggers);
    if (!can.empty()) text += fmt::format(" [{}]", can);
  } else if (value.property == nullptr) {
    text += " [not in the description]";
  }
  return text;
}

std::string element_line(const TreeElement& element) {
  if (element.object == nullptr) return fmt::format("element {} (not in a description)", element.number);
  const std::string type = element_type_term(element.object->type);
  return fmt::format("element {}, {}{}", element.number, type,
                     element.object->designator.empty() ? "" : fmt::format(" \"{}\"", element.object->designator));
}

void describe(Page& page, const Conclusions& all, const ImplementRecord& implement) {
  page.heading("IMPLEMENT");
  const auto controller = controller_of(implement.client);
  page.item("  ", voice_words(all, controller, implement.address) +
                      (all.buses.size() > 1 ? " on " + all.buses[implement.bus].name : ""));
  if (controller) page.item("  NAME              ", all.controllers[*controller].name.hex());
  if (const auto& device = implement.pool.device) {
    page.item("  designator        ", device->designator.empty() ? "none" : device->designator);
    page.item("  software version  ", device->software_version.empty() ? "none" : device->software_version);
    page.item("  serial number     ", device->serial_number.empty() ? "none" : device->serial_number);
  }
  if (implement.structure)
    page.item("  structure label   ", label_words(*implement.structure) + " (" + hex_bytes(implement.structure->bytes) + ")");
  if (implement.localization) page.item("  localization      ", hex_bytes(*implement.localization));
  if (implement.pool.empty())
    page.item("  description       ",
              "not known: nothing was uploaded in this recording, because the task controller has it stored or the start-up is not in the "
              "recording. Elements go by number and variables by the data dictionary's names. A description of another recording helps: "
              "--device-description FILE or CAPTURE, or a --library that tramlog devices --learn has filled.");
  else
    page.item("  description       ",
              fmt::format("{}; {}, {}{}", implement.source_words, counted(implement.pool_bytes.size(), "byte", "bytes"),
                          counted(implement.pool.objects(), "object", "objects"),
                          implement.activated ? "; active" : "; not activated in this recording"));
  for (const LinkRecord& link : implement.links)
    page.item("  connection        ",
              fmt::format("{}{}: {}{}", link.data_logger ? "data logger: " : "",
                          voice_words(all, controller_of(link.server), link.server_address), dialogue_code(link.state),
                          link.server_version ? fmt::format(", version {}", *link.server_version) : ""));
  if (implement.task_running)
    page.item("  task              ", *implement.task_running ? "running at the end of the recording"
                                                             : "none running at the end of the recording");
  const DevicePool& pool = implement.pool;
  if (pool.problems.empty()) return;
  const std::size_t count = pool.problems.size() + pool.problems_not_listed;
  page.item("  problems          ", fmt::format("{} in the description:", counted(count, "problem", "problems")));
  for (std::size_t i = 0; i < pool.problems.size() && i < kMaxProblemsShown; ++i) {
    const PoolProblem& problem = pool.problems[i];
    page.item("    ", fmt::format("byte {}{}: {}{}", problem.offset,
                                  problem.object == kNullObject ? "" : fmt::format(", object {}", problem.object),
                                  problem.broken ? "BROKEN: " : "", problem.what));
  }
  if (count > kMaxProblemsShown) page.item("    ", fmt::format("and {} more", count - kMaxProblemsShown));
}

void write_tree(Page& page, const ImplementRecord& implement, const Schema& schema,
                const std::optional<std::uint16_t>& element) {
  const std::vector<TreeElement> tree = device_tree(implement, schema, element);
  page.heading("ELEMENTS");
  if (tree.empty()) page.item("  ", element ? fmt::format("there is no element {}", *element) : "none");
  for (const TreeElement& one : tree) {
    // Deep nesting is hostile or a mistake; it must still leave room for words.
    const std::string indent(2 + 2 * std::min(one.depth, 12u), ' ');
    page.item(indent, element_line(one));
    for (const TreeValue& value : one.values) page.item(indent + "    ", value_line(value));
  }
}

void write_events(Page& page, const ImplementRecord& implement) {
  for (const LinkRecord& link : implement.links) {
    if (link.events.empty()) continue;
    page.heading(link.data_logger ? "CONNECTION TO THE DATA LOGGER" : "CONNECTION TO THE TASK CONTROLLER");
    for (const LinkEvent& event : link.events)
      page.item(fmt::format("  {}  ", format_time_of_day(event.at.time)),
                fmt::format("{}{}{}", event.trouble ? "! " : "", event.text,
                            event.at.frame > 0 ? fmt::format(" (frame {})", event.at.frame) : ""));
    if (link.events_not_listed > 0)
      page.item("  ", fmt::format("{} more are not listed", link.events_not_listed));
    page.item("  ", fmt::format("{} asked for, {} unanswered; {} set, {} refused; {} measurement commands, {} refused",
                                counted(link.requests, "value", "values"), link.unanswered,
                                counted(link.sets, "value", "values"), link.refused, link.measurements,
                                link.measurements_refused));
  }
}

}  // namespace

bool is_called(const Conclusions& all, const ImplementRecord& implement, const std::string& name) {
  if (implement.pool.device && implement.pool.device->designator == name) return true;
  if (implement.client == kNobody) return false;
  const ControllerRecord& controller = all.controllers[static_cast<std::size_t>(implement.client)];
  return controller.name.hex() == name || (!controller.label.empty() && controller.label == name);
}

std::string devices_page(const Report& report, const Schema& schema, const DevicesOptions& options) {
  const Conclusions& all = report.found;
  Page page(options.format.unicode);
  head_page(page, report, "DEVICE DESCRIPTIONS", options.format);
  if (all.seeding.implements.empty()) {
    page.line();
    page.item("", "No implement talked to a task controller in this recording.");
  }
  for (const ImplementRecord& implement : all.seeding.implements) {
    describe(page, all, implement);
    write_tree(page, implement, schema, options.element);
    if (!options.element) write_events(page, implement);
  }
  notes_page(page, all);
  return page.take();
}

}  // namespace tramlog
