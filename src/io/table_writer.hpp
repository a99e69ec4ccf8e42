// Tables of typed columns on their way out: CSV, JSON Lines, SQLite. Knows nothing of buses or signals.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/decimal.hpp"
#include "base/result.hpp"
#include "base/time.hpp"

namespace tramlog {

struct Column {
  enum class Type : std::uint8_t { time, integer, real, text };
  std::string name;
  Type type = Type::text;
  std::string unit;     // "" = none
  std::string comment;  // one line; where the format has a place for it
};

/// A field of a row: nothing, a moment, a number or a text.
struct Cell {
  enum class Kind : std::uint8_t { none, time, integer, number, text };
  Kind kind = Kind::none;
  std::int64_t integer = 0;  // integer; time: ns since 1970
  Number number;
  std::string_view text;  // valid during the call
};

using TableId = std::size_t;

class TableWriter {
 public:
  virtual ~TableWriter() = default;
  /// All tables before the first row. CSV and JSON Lines hold one table only.
  virtual TableId add_table(const std::string& name, std::vector<Column> columns,
                            const std::string& comment) = 0;
  virtual void row(TableId table, std::span<const Cell> cells) = 0;
  /// Ends the output: everything is written and flushed. The first error of any call is told here; after an
  /// error rows are dropped.
  virtual Result<bool> finish() = 0;
};

/// `path` empty: standard output. Buffers 256 KiB.
Result<std::unique_ptr<TableWriter>> make_csv_writer(const std::string& path);
Result<std::unique_ptr<TableWriter>> make_json_lines_writer(const std::string& path);
/// Writes a new database beside `path` and renames it at the end, so that a broken export never looks whole;
/// an existing file is replaced only if it is an SQLite database or empty, else a usage error.
Result<std::unique_ptr<TableWriter>> make_sqlite_writer(const std::string& path);

}  // namespace tramlog
