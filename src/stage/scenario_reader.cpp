#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "stage/scenario_parts.hpp"

namespace tramlog::stage {
namespace {

constexpr int kMaxIncludeDepth = 4;
constexpr std::size_t kMaxControllers = 250;

// Lists of the included file come first, tables are put together; any other key of the including file wins.
void merge_under(Node& root, Node&& included) {
  for (auto& [key, node] : included.entries) {
    Node* own = root.find(key);
    if (own == nullptr) {
      root.entries.emplace_back(key, std::move(node));
    } else if (own->kind == Node::Kind::list && node.kind == Node::Kind::list) {
      node.items.insert(node.items.end(), std::make_move_iterator(own->items.begin()),
                        std::make_move_iterator(own->items.end()));
      own->items = std::move(node.items);
    } else if (own->kind == Node::Kind::table && node.kind == Node::Kind::table) {
      merge_under(*own, std::move(node));
    }
  }
}

void drop_key(Node& table, std::string_view key) {
  std::erase_if(table.entries, [&](const auto& entry) { return entry.first == key; });
}

Result<Node> read_with_includes(const std::string& path, int depth) {
  Result<Node> root = read_toml(path);
  if (!root) return root;
  const Node* include = root->find("include");
  if (include == nullptr) return root;
  if (include->kind != Node::Kind::text) {
    return Error{ErrorKind::usage, "key 'include': must be a text", include->where(), "name one file"};
  }
  if (depth >= kMaxIncludeDepth) {
    return Error{ErrorKind::usage, "too many files include each other", include->where(),
                 "include less deeply"};
  }
  const auto file = std::filesystem::path(path).parent_path() / include->text;
  Result<Node> included = read_with_includes(file.string(), depth + 1);
  if (!included) return included;
  drop_key(*root, "include");
  merge_under(*root, std::move(*included));
  return root;
}

// [[alter]] tables replace keys of a controller that an included file describes; lists of tables are added
// to.
void apply_alterations(Node& root, Problems& problems) {
  Node* list = root.find("alter");
  if (list == nullptr) return;
  Node* controllers = root.find("controller");
  for (Node& change : list->items) {
    const Node* label = change.find("controller");
    Node* target = nullptr;
    if (label != nullptr && controllers != nullptr) {
      for (Node& controller : controllers->items) {
        const Node* own = controller.find("label");
        if (own != nullptr && own->text == label->text) target = &controller;
      }
    }
    if (target == nullptr) {
      problems.add("this alters no known controller", change.where(), "give its label as key 'controller'");
      return;
    }
    for (auto& [key, node] : change.entries) {
      if (key == "controller") continue;
      Node* own = target->find(key);
      const bool adds = own != nullptr && node.kind == Node::Kind::list && !node.items.empty() &&
                        node.items.front().kind == Node::Kind::table && own->kind == Node::Kind::list;
      if (adds) {
        own->items.insert(own->items.end(), node.items.begin(), node.items.end());
      } else if (own != nullptr) {
        *own = node;
      } else {
        target->entries.emplace_back(key, node);
      }
    }
  }
  drop_key(root, "alter");
}

StrangerSpec read_stranger(const Node& node, const Scenario& scenario, Problems& problems) {
  TableReader in(node, problems);
  StrangerSpec stranger;
  stranger.label = in.text("label", "stranger");
  stranger.bus = read_bus(in, scenario);
  const std::size_t kind = in.choice("kind", 0, {"extended", "standard", "remote", "standard-remote", "fd"});
  stranger.standard = kind == 1 || kind == 3;
  stranger.remote = kind == 2 || kind == 3;
  stranger.fd = kind == 4;
  stranger.bit_rate_switch = in.flag("bit_rate_switch", false);
  stranger.id =
      static_cast<std::uint32_t>(in.needed_integer("id", 0, stranger.standard ? 0x7FF : 0x1FFFFFFF));
  stranger.period = in.needed_span("period", kMillisecond, kHour);
  stranger.from = in.span("from", 0, 0, kLongestScenario);
  if (in.has("until"))
    stranger.until = in.span("until", 0, 0, kLongestScenario);
  else
    in.any("until");
  stranger.length = static_cast<unsigned>(in.integer("length", 8, 0, 8));
  if (!stranger.remote) stranger.payload = read_payload(in, stranger.fd ? 64 : 8);
  return stranger;
}

DamageSpec read_damage(const Node& node, Problems& problems) {
  TableReader in(node, problems);
  DamageSpec damage;
  damage.how =
      static_cast<DamageSpec::How>(in.choice("how", 0, {"truncate", "flip", "zero", "insert", "remove"}));
  constexpr std::int64_t kFar = std::int64_t{1} << 40;
  damage.at = in.needed_integer("at", -kFar, kFar);
  damage.bytes = static_cast<std::size_t>(in.integer("bytes", 1, 1, 1 << 20));
  damage.bit = static_cast<unsigned>(in.integer("bit", 0, 0, 7));
  return damage;
}

bool label_known(const Scenario& scenario, const std::string& label) {
  return std::any_of(scenario.controllers.begin(), scenario.controllers.end(),
                     [&](const ControllerSpec& c) { return c.label == label; });
}

void check_labels(const Scenario& scenario, const Node& root, Problems& problems) {
  const Node* list = root.find("controller");
  for (std::size_t i = 0; i < scenario.controllers.size(); ++i) {
    const ControllerSpec& controller = scenario.controllers[i];
    const std::string where = list->items[i].where();
    const auto want = [&](const std::string& label) {
      if (!label.empty() && !label_known(scenario, label)) {
        problems.add(fmt::format("'{}' speaks of the unknown controller '{}'", controller.label, label),
                     where, "use the label of a controller");
      }
    };
    for (std::size_t other = 0; other < i; ++other) {
      if (scenario.controllers[other].label == controller.label) {
        problems.add(fmt::format("the label '{}' is used twice", controller.label), where,
                     "give each its own label");
      }
    }
    for (const auto& message : controller.messages) want(message.to);
    for (const auto& request : controller.requests) want(request.to);
    for (const auto& transfer : controller.transfers) want(transfer.to);
    for (const auto& member : controller.working_set) want(member);
  }
}

void read_root(const Node& root, Scenario& scenario, Problems& problems) {
  TableReader in(root, problems);
  scenario.title = in.needed_text("title");
  scenario.start = in.time("start", 0);
  if (!in.has("start")) in.complain("start", "is missing", "give a date and time like 2026-04-07T06:12:00Z");
  scenario.seed = static_cast<std::uint64_t>(in.integer("seed", 1, 0, INT64_MAX));
  scenario.duration = in.needed_span("duration", kMillisecond, kLongestScenario);
  for (const Node* node : in.tables("bus")) {
    TableReader bus(*node, problems);
    BusSpec spec;
    spec.name = bus.needed_text("name");
    spec.bitrate = static_cast<std::uint32_t>(bus.integer("bitrate", 250'000, 10'000, 1'000'000));
    spec.statistics = bus.flag("statistics", true);
    scenario.buses.push_back(std::move(spec));
  }
  if (scenario.buses.empty()) scenario.buses.push_back({"can0", 250'000, true});
  const auto controllers = in.tables("controller");
  if (controllers.size() > kMaxControllers) in.complain("controller", "are too many", "describe at most 250");
  for (const Node* node : controllers) {
    if (problems.any()) return;
    scenario.controllers.push_back(read_controller(*node, scenario, problems));
  }
  if (problems.any()) return;
  check_labels(scenario, root, problems);
  for (const Node* node : in.tables("stranger")) {
    scenario.strangers.push_back(read_stranger(*node, scenario, problems));
  }
  read_machine(in, scenario, problems);
  for (const Node* node : in.tables("event")) {
    if (problems.any()) return;
    scenario.happenings.push_back(read_happening(*node, scenario, problems));
  }
  const auto needs_notes = [](const HappeningSpec& event) {
    return event.what == HappeningSpec::What::mark || event.what == HappeningSpec::What::logger_cut ||
           event.what == HappeningSpec::What::disk_trouble;
  };
  if (std::any_of(scenario.happenings.begin(), scenario.happenings.end(), needs_notes))
    scenario.recorder.notes = true;
  scenario.tells_causes |=
      std::any_of(scenario.happenings.begin(), scenario.happenings.end(),
                  [](const HappeningSpec& event) { return event.what >= HappeningSpec::What::crank; });
  if (const Node* node = in.any("implement"); node != nullptr && !problems.any()) {
    if (node->kind == Node::Kind::table) {
      scenario.implements.push_back(read_implement(*node, scenario, problems));
    } else {
      for (const Node* one : in.tables("implement"))
        scenario.implements.push_back(read_implement(*one, scenario, problems));
    }
  }
  for (const Node* node : in.tables("damage")) scenario.damage.push_back(read_damage(*node, problems));
}

}  // namespace

std::size_t read_bus(TableReader& in, const Scenario& scenario) {
  const std::string name = in.text("bus", scenario.buses.front().name);
  for (std::size_t i = 0; i < scenario.buses.size(); ++i) {
    if (scenario.buses[i].name == name) return i;
  }
  in.complain("bus", fmt::format("no bus is called '{}'", name), "use the name of a [[bus]]");
  return 0;
}

PayloadSpec read_payload(TableReader& in, std::size_t most) {
  PayloadSpec payload;
  const std::size_t builder =
      in.choice("builder", 0,
                {"fixed", "wheel-speed", "ws-maintenance", "ground-speed", "selected-speed", "course",
                 "position", "battery-voltage", "engine-speed"});
  payload.builder = static_cast<Builder>(builder);
  payload.base = in.bytes("payload", most);
  if (payload.builder != Builder::fixed)
    payload.base.assign(payload.builder == Builder::position ? 43 : 8, 0xFF);
  for (const Node* node : in.tables("vary")) {
    TableReader entry(*node, in.problems());
    Variation variation;
    variation.how = static_cast<Variation::How>(entry.choice("how", 0, {"counter", "random", "walk"}));
    variation.byte = static_cast<unsigned>(entry.needed_integer("byte", 1, static_cast<std::int64_t>(most)));
    variation.width = static_cast<unsigned>(entry.integer("width", 1, 1, 4));
    const std::int64_t top = (std::int64_t{1} << (8 * variation.width)) - 1;
    variation.low = entry.integer("low", 0, -top, top);
    variation.high = entry.integer("high", top, variation.low, top);
    variation.step = entry.integer("step", 1, 0, top);
    if (variation.byte - 1 + variation.width > payload.base.size()) {
      entry.complain("byte", "lies beyond the payload", "make the payload longer");
    }
    payload.variations.push_back(variation);
  }
  return payload;
}

namespace {

Result<Scenario> scenario_of(Result<Node> root, const std::string& name) {
  if (!root) return root.error();
  Problems problems;
  Scenario scenario;
  scenario.file = name;
  apply_alterations(*root, problems);
  if (!problems.any()) read_root(*root, scenario, problems);
  if (problems.any()) return problems.first();
  return scenario;
}

}  // namespace

Result<Scenario> read_scenario(const std::string& path) {
  return scenario_of(read_with_includes(path, 0), path);
}

Result<Scenario> read_scenario_text(const std::string& text, const std::string& name) {
  return scenario_of(parse_toml(text, name), name);
}

}  // namespace tramlog::stage
