#include "stage/table_reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace tramlog::stage {
namespace {

constexpr std::size_t kMaxKnots = 500;

std::optional<double> number(const Node& node) {
  if (node.kind == Node::Kind::integer) return static_cast<double>(node.integer);
  if (node.kind == Node::Kind::real && std::isfinite(node.real)) return node.real;
  return std::nullopt;
}

int hex_value(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

}  // namespace

std::optional<std::vector<std::uint8_t>> bytes_from_hex(std::string_view text) {
  std::vector<std::uint8_t> bytes;
  int high = -1;
  for (const char c : text) {
    if (c == ' ') {
      if (high >= 0) return std::nullopt;
      continue;
    }
    const int digit = hex_value(c);
    if (digit < 0) return std::nullopt;
    if (high < 0) {
      high = digit;
    } else {
      bytes.push_back(static_cast<std::uint8_t>(high << 4 | digit));
      high = -1;
    }
  }
  if (high >= 0) return std::nullopt;
  return bytes;
}

TableReader::TableReader(const Node& table, Problems& problems) : table_(table), problems_(problems) {
  if (table.kind != Node::Kind::table) {
    problems_.add("this must be a table", table.where(), "write keys and values here");
  }
}

TableReader::~TableReader() {
  if (problems_.any()) return;
  for (const auto& [key, node] : table_.entries) {
    if (std::find(asked_.begin(), asked_.end(), key) != asked_.end()) continue;
    std::sort(asked_.begin(), asked_.end());
    asked_.erase(std::unique(asked_.begin(), asked_.end()), asked_.end());
    problems_.add(fmt::format("unknown key '{}'", key), node.where(),
                  fmt::format("remove it or use one of: {}", fmt::join(asked_, ", ")));
    return;
  }
}

void TableReader::complain(std::string_view key, std::string what, std::string remedy) {
  const Node* node = table_.find(key);
  problems_.add(fmt::format("key '{}': {}", key, what), node ? node->where() : table_.where(),
                std::move(remedy));
}

const Node* TableReader::take(std::string_view key) {
  asked_.emplace_back(key);
  return table_.find(key);
}

const Node* TableReader::take(std::string_view key, Node::Kind kind) {
  const Node* node = take(key);
  if (node == nullptr || node->kind == kind) return node;
  complain(key, fmt::format("is {}", kind_term(node->kind)), fmt::format("give {}", kind_term(kind)));
  return nullptr;
}

const Node* TableReader::any(std::string_view key) {
  return take(key);
}
const Node* TableReader::table(std::string_view key) {
  return take(key, Node::Kind::table);
}

bool TableReader::flag(std::string_view key, bool otherwise) {
  const Node* node = take(key, Node::Kind::boolean);
  return node ? node->boolean : otherwise;
}

std::int64_t TableReader::integer(std::string_view key, std::int64_t otherwise, std::int64_t low,
                                  std::int64_t high) {
  const Node* node = take(key, Node::Kind::integer);
  if (node == nullptr) return otherwise;
  if (node->integer < low || node->integer > high) {
    complain(key, fmt::format("{} is out of range", node->integer), fmt::format("give {} to {}", low, high));
  }
  return std::clamp(node->integer, low, high);
}

std::int64_t TableReader::needed_integer(std::string_view key, std::int64_t low, std::int64_t high) {
  if (!has(key)) complain(key, "is missing", fmt::format("give {} to {}", low, high));
  return integer(key, low, low, high);
}

SpanNs TableReader::span(std::string_view key, SpanNs otherwise, SpanNs low, SpanNs high) {
  const Node* node = take(key);
  if (node == nullptr) return otherwise;
  double seconds = node->real;
  if (node->kind == Node::Kind::integer) {
    seconds = static_cast<double>(node->integer);
  } else if (node->kind != Node::Kind::real) {
    complain(key, fmt::format("is {}", kind_term(node->kind)), "give a number of seconds");
    return otherwise;
  }
  if (!(seconds >= to_seconds(low) && seconds <= to_seconds(high))) {
    complain(key, fmt::format("{} s is out of range", seconds),
             fmt::format("give {} to {} seconds", to_seconds(low), to_seconds(high)));
    return otherwise;
  }
  return std::llround(seconds * 1e9);
}

SpanNs TableReader::needed_span(std::string_view key, SpanNs low, SpanNs high) {
  if (!has(key)) complain(key, "is missing", "give a number of seconds");
  return span(key, low, low, high);
}

TimeNs TableReader::time(std::string_view key, TimeNs otherwise) {
  const Node* node = take(key, Node::Kind::time);
  return node ? node->integer : otherwise;
}

std::string TableReader::text(std::string_view key, std::string_view otherwise) {
  const Node* node = take(key, Node::Kind::text);
  return node ? node->text : std::string(otherwise);
}

std::string TableReader::needed_text(std::string_view key) {
  if (!has(key)) complain(key, "is missing", "give a text");
  return text(key, "");
}

std::size_t TableReader::choice(std::string_view key, std::size_t otherwise,
                                const std::vector<std::string_view>& words) {
  const Node* node = take(key, Node::Kind::text);
  if (node == nullptr) return otherwise;
  const auto found = std::find(words.begin(), words.end(), node->text);
  if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
  complain(key, fmt::format("'{}' is not known", node->text),
           fmt::format("use one of: {}", fmt::join(words, ", ")));
  return otherwise;
}

std::vector<std::string> TableReader::texts(std::string_view key) {
  std::vector<std::string> found;
  const Node* node = take(key, Node::Kind::list);
  if (node == nullptr) return found;
  for (const Node& item : node->items) {
    if (item.kind != Node::Kind::text)
      complain(key, "holds something that is no text", "give a list of texts");
    found.push_back(item.text);
  }
  return found;
}

std::vector<std::int64_t> TableReader::integers(std::string_view key, std::int64_t low, std::int64_t high) {
  std::vector<std::int64_t> found;
  const Node* node = take(key, Node::Kind::list);
  if (node == nullptr) return found;
  for (const Node& item : node->items) {
    if (item.kind != Node::Kind::integer || item.integer < low || item.integer > high) {
      complain(key, "holds something that does not fit",
               fmt::format("give whole numbers {} to {}", low, high));
      continue;
    }
    found.push_back(item.integer);
  }
  return found;
}

std::vector<std::uint8_t> TableReader::bytes(std::string_view key, std::size_t most) {
  const Node* node = take(key, Node::Kind::text);
  if (node == nullptr) return {};
  auto found = bytes_from_hex(node->text);
  if (!found) {
    complain(key, "is not hex", "give pairs of hex digits");
    return {};
  }
  if (found->size() > most) complain(key, "is too long", fmt::format("give at most {} bytes", most));
  return *found;
}

std::vector<const Node*> TableReader::tables(std::string_view key) {
  std::vector<const Node*> found;
  const Node* node = take(key, Node::Kind::list);
  if (node == nullptr) return found;
  for (const Node& item : node->items) {
    if (item.kind == Node::Kind::table) {
      found.push_back(&item);
    } else {
      complain(key, "must be a list of tables", fmt::format("write [[{}]]", key));
    }
  }
  return found;
}

double real(TableReader& in, std::string_view key, double otherwise, double low, double high) {
  const Node* node = in.any(key);
  if (node == nullptr) return otherwise;
  const auto value = number(*node);
  if (!value || *value < low || *value > high) {
    in.complain(key, "is no number within its range", fmt::format("give a number from {} to {}", low, high));
    return otherwise;
  }
  return *value;
}

Knots knots(TableReader& in, std::string_view key, double low, double high) {
  Knots out;
  const Node* node = in.any(key);
  if (node == nullptr) return out;
  bool good = node->kind == Node::Kind::list && node->items.size() <= kMaxKnots;
  for (const Node& pair : node->items) {
    if (pair.kind != Node::Kind::list || pair.items.size() != 2) {
      good = false;
      break;
    }
    const auto at = number(pair.items[0]), value = number(pair.items[1]);
    if (!at || !value || *at < 0 || *at > 1e6 || *value < low || *value > high) {
      good = false;
      break;
    }
    const auto time = static_cast<SpanNs>(std::llround(*at * 1e9));
    if (!out.empty() && time < out.back().first) good = false;
    out.emplace_back(time, *value);
  }
  if (!good)
    in.complain(key, "is no list of [seconds, value] in time order",
                fmt::format("write [[10, 1], [20, 0]], values from {} to {}", low, high));
  return out;
}

std::vector<SpanNs> spans(TableReader& in, std::string_view key, SpanNs longest) {
  std::vector<SpanNs> out;
  const Node* node = in.any(key);
  if (node == nullptr) return out;
  bool good = node->kind == Node::Kind::list && node->items.size() <= kMaxKnots;
  for (const Node& item : node->items) {
    const auto seconds = number(item);
    if (!seconds || *seconds < 0 || *seconds > to_seconds(longest)) {
      good = false;
      break;
    }
    out.push_back(std::llround(*seconds * 1e9));
  }
  if (!good) in.complain(key, "is no list of seconds", "write [12, 30.5]");
  return out;
}

}  // namespace tramlog::stage
