// [implement] of a scenario (SCENARIO.md).
#include <fmt/format.h>

#include <algorithm>

#include "stage/scenario_parts.hpp"

namespace tramlog::stage {
namespace {

constexpr double kFar = 1e12;
constexpr std::size_t kMaxMeters = 8, kMaxSections = 24, kMaxFaults = 32;

MeterSpec read_meter(const Node& node, Problems& problems) {
  TableReader in(node, problems);
  MeterSpec meter;
  meter.designator = in.text("designator", meter.designator);
  meter.product = static_cast<Product>(in.choice("product", 0, {"mass", "volume", "count"}));
  meter.order = static_cast<unsigned>(in.integer("order", 1, 1, 2));
  meter.dead_time = in.span("dead_time", meter.dead_time, 0, kMinute);
  meter.time_constant = in.span("time_constant", meter.time_constant, 10 * kMillisecond, kMinute);
  meter.damping = real(in, "damping", meter.damping, 0.05, 5);
  meter.settled_error_pct = real(in, "settled_error", meter.settled_error_pct, -50, 50);
  meter.noise_pct = real(in, "noise", meter.noise_pct, 0, 20);
  meter.maximum = real(in, "maximum", meter.maximum, 1, 1e9);
  meter.minimum = real(in, "minimum", meter.minimum, 0, 1e9);
  meter.sample_period = in.span("sample_period", meter.sample_period, 100 * kMillisecond, kMinute);
  meter.dense = in.flag("on_change", true);
  meter.content = real(in, "content", meter.content, 0, 2e9);
  meter.capacity = real(in, "capacity", meter.capacity, 1, 2e9);
  meter.rates = knots(in, "rates", 0, 1e9);
  return meter;
}

FaultSpec read_fault(const Node& node, const ImplementSpec& implement, Problems& problems) {
  TableReader in(node, problems);
  FaultSpec fault;
  std::vector<std::string_view> words;
  for (std::size_t i = 0; i < kTroubles; ++i) words.emplace_back(terms(static_cast<Trouble>(i)).what);
  if (!in.has("what")) in.complain("what", "is missing", "name a fault");
  fault.what = static_cast<Trouble>(in.choice("what", 0, words));
  fault.at = in.span("at", 0, 0, kLongestScenario);
  if (in.has("for"))
    fault.length = in.span("for", 0, 0, kLongestScenario);
  else
    in.any("for");
  fault.meter = static_cast<unsigned>(
      in.integer("meter", 1, 1, std::max<std::int64_t>(1, std::ssize(implement.meters))));
  fault.section = static_cast<unsigned>(
      in.integer("section", 1, 1, std::max<std::int64_t>(1, std::ssize(implement.sections))));
  fault.strength = real(in, "strength", 0, -kFar, kFar);
  fault.period = in.span("period", fault.period, kSecond, kMinute);
  fault.how = in.text("how", "");
  fault.errors = static_cast<unsigned>(in.integer("errors", 0x10, 1, 0xFF));
  return fault;
}

void read_sections(TableReader& in, ImplementSpec& implement) {
  const auto count = static_cast<std::size_t>(in.integer("sections", 6, 1, kMaxSections));
  const auto width = static_cast<std::int32_t>(in.integer("section_width_mm", 1000, 50, 20'000));
  const auto x = static_cast<std::int32_t>(in.integer("x_mm", -3000, -50'000, 50'000));
  const SpanNs on = in.span("on_delay", 500 * kMillisecond, 0, kMinute);
  const SpanNs off = in.span("off_delay", 300 * kMillisecond, 0, kMinute);
  const SpanNs hose = in.span("outer_delay", 150 * kMillisecond, 0, kMinute);
  place_sections(implement, count, width, x, on, off, hose);
}

void check_partner(TableReader& in, std::string_view key, const std::string& label,
                   const Scenario& scenario) {
  const bool known = std::any_of(scenario.controllers.begin(), scenario.controllers.end(),
                                 [&](const ControllerSpec& controller) { return controller.label == label; });
  if (!known && !label.empty())
    in.complain(key, fmt::format("speaks of the unknown controller '{}'", label),
                "use the label of a controller");
}

}  // namespace

ImplementSpec read_implement(const Node& node, const Scenario& scenario, Problems& problems) {
  TableReader in(node, problems);
  ImplementSpec implement;
  implement.client = in.needed_text("client");
  implement.task_controller = in.needed_text("task_controller");
  implement.terminal = in.text("terminal", "");
  check_partner(in, "client", implement.client, scenario);
  check_partner(in, "task_controller", implement.task_controller, scenario);
  check_partner(in, "terminal", implement.terminal, scenario);
  implement.client_version = static_cast<unsigned>(in.integer("client_version", 4, 2, 4));
  implement.tc_version = static_cast<unsigned>(in.integer("task_controller_version", 4, 2, 4));
  implement.start_wait = in.span("start_wait", implement.start_wait, 0, kMinute);
  implement.stored_pool = in.flag("stored_pool", false);
  implement.padding_objects = static_cast<unsigned>(in.integer("padding_objects", 0, 0, 2000));
  implement.pressure = in.flag("pressure", true);
  implement.totals_interval = in.span("totals_interval", 0, 0, kMinute);
  implement.designator = in.text("designator", implement.designator);
  implement.software = in.text("software", implement.software);
  implement.serial = in.text("serial", implement.serial);
  implement.blower_rpm = real(in, "blower", implement.blower_rpm, 0, 20'000);
  implement.blower_minimum = real(in, "blower_minimum", implement.blower_minimum, 0, 20'000);
  implement.blower_maximum = real(in, "blower_maximum", implement.blower_maximum, 0, 20'000);
  implement.slip_pct = real(in, "slip", implement.slip_pct, -50, 50);
  implement.speed = knots(in, "speed", 0, 20);
  implement.work = knots(in, "work", 0, 1);
  implement.section_masks = knots(in, "section_states", 0, 0xFFFFFF);
  implement.task_start = in.span("task_start", implement.task_start, 0, kLongestScenario);
  implement.task_end = in.span("task_end", implement.task_end, 0, kLongestScenario);
  for (const Node* meter : in.tables("meter")) implement.meters.push_back(read_meter(*meter, problems));
  read_sections(in, implement);
  implement.random = in.flag("random", false);
  // `fault = "draw"` and [[implement.fault]] share the name.
  const Node* fault = in.any("fault");
  if (fault != nullptr && fault->kind == Node::Kind::text) {
    if (fault->text == "draw" && implement.random)
      implement.draw = ImplementSpec::Draw::any;
    else if (fault->text != "none")
      in.complain("fault", "is neither \"none\" nor, with random = true, \"draw\"",
                  "use one of them, or [[implement.fault]]");
  } else if (fault != nullptr) {
    for (const Node* one : in.tables("fault"))
      implement.faults.push_back(read_fault(*one, implement, problems));
  }
  if (implement.random && !implement.faults.empty())
    in.complain("fault", "is listed, but the drill is drawn", "write fault = \"draw\", or leave random out");
  if (!implement.random && implement.meters.empty())
    in.complain("meter", "is missing", "describe at least one [[implement.meter]]");
  if (implement.meters.size() > kMaxMeters || implement.faults.size() > kMaxFaults)
    in.complain("meter", "or faults are too many",
                fmt::format("describe at most {} and {}", kMaxMeters, kMaxFaults));
  return implement;
}

}  // namespace tramlog::stage
