#include <algorithm>

#include "stage/scenario_parts.hpp"

namespace tramlog::stage {
namespace {

using What = HappeningSpec::What;

bool names_controller(What what) {
  switch (what) {
    case What::mute:
    case What::unmute:
    case What::dtc_set:
    case What::dtc_clear:
    case What::commanded_address:
    case What::heartbeat_stop:
    case What::software_update:
    case What::stream_stop:
    case What::stream_start:
    case What::stub_opens:
    case What::restarts_itself:
    case What::floods:
    case What::task_controller_lost:
    case What::terminal_lost:
    case What::speed_source_lost:
    case What::dies:
      return true;
    default:
      return false;
  }
}

}  // namespace

HappeningSpec read_happening(const Node& node, const Scenario& scenario, Problems& problems) {
  TableReader in(node, problems);
  HappeningSpec event;
  if (!in.has("what")) in.complain("what", "is missing", "say what happens");
  event.what = static_cast<What>(in.choice("what", 0,
                                           {"controller-off",
                                            "controller-on",
                                            "mute",
                                            "unmute",
                                            "supply-off",
                                            "supply-on",
                                            "bus-dead",
                                            "bus-alive",
                                            "key-off",
                                            "key-on",
                                            "logger-deaf",
                                            "logger-stopped",
                                            "link-down",
                                            "link-paused",
                                            "error-frames",
                                            "bus-off",
                                            "dtc-set",
                                            "dtc-clear",
                                            "commanded-address",
                                            "claim-request",
                                            "stop-broadcast",
                                            "heartbeat-stop",
                                            "software-update",
                                            "clock-step",
                                            "stream-stop",
                                            "stream-start",
                                            "crank",
                                            "voltage",
                                            "fuse-opens",
                                            "contact-loose",
                                            "connector-opens",
                                            "stub-opens",
                                            "trunk-opens",
                                            "terminator-missing",
                                            "restarts-itself",
                                            "floods",
                                            "overload",
                                            "wrong-bit-rate",
                                            "operator-power-down",
                                            "logger-unplugged",
                                            "task-controller-lost",
                                            "terminal-lost",
                                            "speed-source-lost",
                                            "dies",
                                            "power-fails",
                                            "bus-shorted",
                                            "mark",
                                            "logger-cut",
                                            "disk-trouble"}));
  event.at = in.needed_span("at", 0, kLongestScenario);
  if (in.has("for"))
    event.length = in.span("for", 0, kMillisecond, kLongestScenario);
  else
    in.any("for");
  event.controller = in.text("controller", "");
  event.from = in.text("from", "");
  event.supply = in.text("supply", "");
  event.side = in.text("side", "");
  if (in.has("bus"))
    event.bus = read_bus(in, scenario);
  else
    in.any("bus");
  if (in.has("boot"))
    event.boot = in.span("boot", 0, 0, 10 * kMinute);
  else
    in.any("boot");
  event.cause = in.text("cause", "");
  event.interface_counter = in.choice("counter", 0, {"osdrop", "ifdrop"}) == 1;
  event.reclaim = in.flag("reclaim", false);
  const std::int64_t fewest = event.what == What::disk_trouble ? 0 : 1;
  event.count = static_cast<unsigned>(in.integer("count", fewest, fewest, 100'000));
  event.error_class = static_cast<std::uint32_t>(in.integer("class", 0x88, 1, 0x1FFFFFFF));
  event.data = in.bytes("data", 8);
  event.spn = static_cast<std::uint32_t>(in.integer("spn", 0, 0, 0x7FFFF));
  event.fmi = static_cast<std::uint8_t>(in.integer("fmi", 31, 0, 31));
  event.address = static_cast<Address>(in.integer("address", 0x80, 0, 253));
  event.pgn = static_cast<Pgn>(in.integer("pgn", 0, 0, 0x3FFFF));
  event.software = in.texts("software");
  event.step = in.span("step", 0, -kLongestScenario, kLongestScenario);
  read_physics(in, event, scenario);

  const bool needs_length = event.what == What::logger_deaf || event.what == What::logger_stopped ||
                            event.what == What::link_down || event.what == What::link_paused ||
                            event.what == What::bus_off || event.what == What::stop_broadcast ||
                            event.what == What::heartbeat_stop || event.what == What::software_update ||
                            event.what == What::logger_cut || event.what == What::contact_loose ||
                            event.what == What::overload || event.what == What::floods;
  if (needs_length && !event.length) in.complain("for", "is missing", "say how many seconds it lasts");
  if (names_controller(event.what) && event.controller.empty()) {
    in.complain("controller", "is missing", "name the controller");
  }
  const bool supply = event.what == What::supply_off || event.what == What::supply_on;
  if (supply && event.supply.empty() && event.side.empty()) {
    in.complain("supply", "is missing", "name the supply or the side that is switched");
  }
  const bool single = event.what == What::controller_off || event.what == What::controller_on;
  if (single && event.controller.empty()) in.complain("controller", "is missing", "name the controller");
  for (const auto& [key, label] :
       {std::pair{"controller", event.controller}, std::pair{"from", event.from}}) {
    if (label.empty()) continue;
    const bool known =
        std::any_of(scenario.controllers.begin(), scenario.controllers.end(),
                    [&, &wanted = label](const ControllerSpec& c) { return c.label == wanted; });
    if (!known)
      in.complain(key, "no controller has the label '" + label + "'", "use the label of a controller");
  }
  return event;
}

}  // namespace tramlog::stage
