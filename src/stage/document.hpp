// A TOML file as a plain tree with line numbers, so that only one file has to know the TOML library.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/result.hpp"

namespace tramlog::stage {

struct Entry;

struct Node {
  enum class Kind { nothing, boolean, integer, real, text, time, list, table };

  Kind kind = Kind::nothing;
  bool boolean = false;
  std::int64_t integer = 0;  // also a time: nanoseconds since 1970 UTC
  double real = 0;
  std::string text;
  std::vector<Node> items;
  std::vector<Entry> entries;  // of a table, sorted by key
  std::shared_ptr<const std::string> file;
  unsigned line = 0;

  const Node* find(std::string_view key) const;
  Node* find(std::string_view key);
  /// "scenario.toml:12"
  std::string where() const;
};

struct Entry {
  Entry(std::string key, Node value) : first(std::move(key)), second(std::move(value)) {}
  std::string first;
  Node second;
};

/// What a kind is called in an error message: "a number", "a table".
std::string kind_term(Node::Kind kind);

/// Reads and parses one file. Errors name file and line.
Result<Node> read_toml(const std::string& path);
Result<Node> parse_toml(std::string_view text, const std::string& file_name);

}  // namespace tramlog::stage
