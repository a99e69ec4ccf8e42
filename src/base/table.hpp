// Tables of typed columns on their way out, whatever they become. Knows nothing of buses or signals.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/decimal.hpp"
#include "base/result.hpp"
#include "base/time.hpp"

namespace tramlog {

/// What a number in a column stands for.
struct ValueWord {
  std::int64_t value = 0;
  std::string word;
};

struct Column {
  enum class Type : std::uint8_t { time, integer, real, text };
  std::string name;
  Type type = Type::text;
  std::string unit;              // "" = none
  std::string comment;           // one line; where the format has a place for it
  bool indexed = false;          // rows are looked up by it; where the format has an index
  std::vector<ValueWord> words;  // shown in the table's view
};

struct Table {
  std::string name;
  std::vector<Column> columns;
  std::string comment;  // one line
  std::string view;     // name of a second look at it, with readable times and words; "" = none
};

/// A field of a row: a moment, a number, a text, or nothing.
struct Cell {
  enum class Kind : std::uint8_t {
    absent,  // this row is not about it
    null,    // it is about it, and there is no value
    time,
    integer,
    number,
    text
  };
  Kind kind = Kind::absent;
  std::int64_t integer = 0;  // integer; time: ns since 1970
  Number number;             // one that is not finite counts as null
  std::string_view text;     // UTF-8, valid during the call

  static Cell of_null() { return of(Kind::null); }
  static Cell of_time(TimeNs time) { return of(Kind::time, time); }
  static Cell of_integer(std::int64_t value) { return of(Kind::integer, value); }
  static Cell of_number(const Number& value) {
    Cell cell = of(Kind::number);
    cell.number = value;
    return cell;
  }
  static Cell of_text(std::string_view value) {
    Cell cell = of(Kind::text);
    cell.text = value;
    return cell;
  }

 private:
  static Cell of(Kind kind, std::int64_t integer = 0) {
    Cell cell;
    cell.kind = kind;
    cell.integer = integer;
    return cell;
  }
};

using TableId = std::size_t;

class TableWriter {
 public:
  virtual ~TableWriter() = default;
  /// Names are taken as they are; the caller keeps them apart (also those that differ in case only). CSV and
  /// JSON Lines hold one table; a second one is an error that finish() tells. A database takes tables at any
  /// time.
  virtual TableId add_table(Table table) = 0;
  /// At most as many cells as the table has columns; those that are left out are absent.
  virtual void row(TableId table, std::span<const Cell> cells) = 0;
  /// Something went wrong; rows are dropped from now on, so the caller may as well stop.
  virtual bool failed() const = 0;
  /// Ends the output: everything is written and in its place. The first error of any call is told here. After
  /// an error, and without finish(), nothing is left behind but what a pipe or device has already got.
  virtual Result<bool> finish() = 0;
};

}  // namespace tramlog
