// Reads one table of a scenario strictly: a wrong type, a value out of range and a key that nobody asked for
// are errors with file and line. The first error of a scenario is kept.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.hpp"
#include "stage/document.hpp"
#include "stage/implement_spec.hpp"

namespace tramlog::stage {

class Problems {
 public:
  void add(std::string what, std::string where, std::string remedy) {
    if (!first_) first_ = Error{ErrorKind::usage, std::move(what), std::move(where), std::move(remedy)};
  }
  bool any() const { return first_.has_value(); }
  const Error& first() const { return *first_; }

 private:
  std::optional<Error> first_;
};

class TableReader {
 public:
  TableReader(const Node& table, Problems& problems);
  TableReader(const TableReader&) = delete;
  TableReader& operator=(const TableReader&) = delete;
  /// Complains about keys that were not asked for.
  ~TableReader();

  bool has(std::string_view key) const { return table_.find(key) != nullptr; }
  bool flag(std::string_view key, bool otherwise);
  std::int64_t integer(std::string_view key, std::int64_t otherwise, std::int64_t low, std::int64_t high);
  std::int64_t needed_integer(std::string_view key, std::int64_t low, std::int64_t high);
  /// Seconds in the file (whole or not), nanoseconds here.
  SpanNs span(std::string_view key, SpanNs otherwise, SpanNs low, SpanNs high);
  SpanNs needed_span(std::string_view key, SpanNs low, SpanNs high);
  /// A date and time.
  TimeNs time(std::string_view key, TimeNs otherwise);
  std::string text(std::string_view key, std::string_view otherwise);
  std::string needed_text(std::string_view key);
  /// One word of a list; the index of it.
  std::size_t choice(std::string_view key, std::size_t otherwise, const std::vector<std::string_view>& words);
  std::vector<std::string> texts(std::string_view key);
  std::vector<std::int64_t> integers(std::string_view key, std::int64_t low, std::int64_t high);
  /// Hex digits, blanks allowed: "FF 00 1a".
  std::vector<std::uint8_t> bytes(std::string_view key, std::size_t most);
  /// Tables of a [[key]] list; empty if there are none.
  std::vector<const Node*> tables(std::string_view key);
  const Node* table(std::string_view key);
  const Node* any(std::string_view key);

  void complain(std::string_view key, std::string what, std::string remedy);
  Problems& problems() { return problems_; }
  const Node& node() const { return table_; }

 private:
  const Node* take(std::string_view key);
  const Node* take(std::string_view key, Node::Kind kind);

  const Node& table_;
  Problems& problems_;
  std::vector<std::string> asked_;
};

/// Any number between `low` and `high`.
double real(TableReader& in, std::string_view key, double otherwise, double low, double high);
/// A list of [seconds, value] in time order.
Knots knots(TableReader& in, std::string_view key, double low, double high);
/// A list of seconds.
std::vector<SpanNs> spans(TableReader& in, std::string_view key, SpanNs longest);

std::optional<std::vector<std::uint8_t>> bytes_from_hex(std::string_view text);

}  // namespace tramlog::stage
