#include "stage/document.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <fstream>
#include <sstream>

#include "base/text.hpp"
#include "base/time.hpp"
#include "base/toml.hpp"

namespace tramlog::stage {
namespace {

std::int64_t nanoseconds_of(const toml::date_time& stamp) {
  using namespace std::chrono;
  const sys_days day = year{stamp.date.year} / month{stamp.date.month} / std::chrono::day{stamp.date.day};
  std::int64_t seconds = std::int64_t{day.time_since_epoch().count()} * 86400 + stamp.time.hour * 3600 +
                         stamp.time.minute * 60 + stamp.time.second;
  if (stamp.offset) seconds -= std::int64_t{stamp.offset->minutes} * 60;
  return seconds * kSecond + stamp.time.nanosecond;
}

Node convert(const toml::node& from, const std::shared_ptr<const std::string>& file) {
  Node node;
  node.file = file;
  node.line = from.source().begin.line;
  if (const auto* table = from.as_table()) {
    node.kind = Node::Kind::table;
    for (const auto& [key, value] : *table) {
      Node child = convert(value, file);
      if (child.line == 0) child.line = key.source().begin.line;
      node.entries.emplace_back(std::string(key.str()), std::move(child));
    }
    std::sort(node.entries.begin(), node.entries.end(),
              [](const auto& a, const auto& b) { return a.first < b.first; });
  } else if (const auto* list = from.as_array()) {
    node.kind = Node::Kind::list;
    for (const auto& value : *list) node.items.push_back(convert(value, file));
  } else if (const auto* text = from.as_string()) {
    node.kind = Node::Kind::text;
    node.text = text->get();
  } else if (const auto* integer = from.as_integer()) {
    node.kind = Node::Kind::integer;
    node.integer = integer->get();
  } else if (const auto* real = from.as_floating_point()) {
    node.kind = Node::Kind::real;
    node.real = real->get();
  } else if (const auto* boolean = from.as_boolean()) {
    node.kind = Node::Kind::boolean;
    node.boolean = boolean->get();
  } else if (const auto* stamp = from.as_date_time()) {
    node.kind = Node::Kind::time;
    node.integer = nanoseconds_of(stamp->get());
  }
  return node;
}

}  // namespace

const Node* Node::find(std::string_view key) const {
  for (const auto& [name, node] : entries) {
    if (name == key) return &node;
  }
  return nullptr;
}

Node* Node::find(std::string_view key) {
  return const_cast<Node*>(std::as_const(*this).find(key));
}

std::string Node::where() const {
  return fmt::format("{}:{}", file ? *file : "scenario", line);
}

std::string kind_term(Node::Kind kind) {
  switch (kind) {
    case Node::Kind::boolean:
      return "true or false";
    case Node::Kind::integer:
      return "a whole number";
    case Node::Kind::real:
      return "a number";
    case Node::Kind::text:
      return "a text";
    case Node::Kind::time:
      return "a date and time";
    case Node::Kind::list:
      return "a list";
    case Node::Kind::table:
      return "a table";
    case Node::Kind::nothing:
      break;
  }
  return "nothing";
}

Result<Node> parse_toml(std::string_view text, const std::string& file_name) {
  toml::table table;
  if (const auto problem = tramlog::parse_toml(text, file_name, table))
    return Error{ErrorKind::usage, problem->what, fmt::format("{}:{}", file_name, problem->line),
                 "correct the TOML there"};
  return convert(table, std::make_shared<const std::string>(file_name));
}

Result<Node> read_toml(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  if (in) text << in.rdbuf();
  if (!in || in.bad()) {
    return Error{ErrorKind::usage, "cannot read the scenario", path, "name a scenario file that exists"};
  }
  return parse_toml(text.str(), path);
}

}  // namespace tramlog::stage
