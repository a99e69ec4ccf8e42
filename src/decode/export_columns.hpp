// Which signals become columns, what they are called, in which unit, and what a reading looks like there.
#pragma once

#include <cstdint>
#include <initializer_list>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/table.hpp"
#include "decode/interpreter.hpp"
#include "schema/schema.hpp"
#include "schema/units.hpp"

namespace tramlog {

struct SignalColumn {
  enum class Kind : std::uint8_t {
    number,
    code,          // numbers that stand for words, and multiplexors: nothing to reckon with
    characters,    // a text
    process_data,  // the value of a DDI; no signal of the schema
  };
  const SignalSpec* signal = nullptr;      // null only for process data
  const DictionaryEntry* entry = nullptr;  // process data, if the dictionary knows it
  std::uint16_t ddi = 0;
  std::string name;  // the signal's; "Message.Signal" if another column has it (capitals do not count);
                     // "DDI 7 Actual Mass Per Area Application Rate"
  std::string unit;  // as shown
  Kind kind = Kind::number;
  std::optional<UnitConversion> conversion;
  double resolution = 1;  // of a reading, in the signal's own unit
};

/// `units` none: as the schema has them.
SignalColumn column_of(const SignalSpec& signal, const std::optional<UnitChoice>& units);

/// The signals that `filter` names, in the order of its words, those of one word in the schema's order; with
/// messages only, all of theirs. Each comes once; none is called as one of `taken`. Fails (usage) as
/// Interpreter::make() does.
Result<std::vector<SignalColumn>> choose_columns(const Schema& schema, const DecodeFilter& filter,
                                                 const std::optional<Roster>& roster,
                                                 const std::optional<UnitChoice>& units,
                                                 const std::vector<std::string>& taken = {});

/// Capitals of ASCII made small: names that are equal then are one name to a database.
std::string folded(std::string_view name);

/// Names kept apart the way a database does: capitals do not count.
class NameSet {
 public:
  NameSet(std::initializer_list<std::string_view> taken) {
    for (const std::string_view name : taken) taken_.insert(folded(name));
  }
  /// `wanted` if it is free, else with _2, _3 .. behind it. Empty or kept for the database itself
  /// ("sqlite_"): with "x_" before it.
  std::string take(const std::string& wanted);

 private:
  std::set<std::string> taken_;
};

/// How the column is kept in a database.
Column::Type storage_type(const SignalColumn& column);

/// Why it is kept in an unusual way, for the column's comment; mostly empty.
std::string storage_note(const SignalColumn& column);

/// What the numbers of a code column stand for; empty for others.
std::vector<ValueWord> words_of(const SignalColumn& column);

/// A text that is safe to write: as it is, or made printable in `buffer`.
std::string_view safe_text(std::string_view text, std::string& buffer);

/// The number in the column's unit.
Number shown_number(const SignalColumn& column, const Number& value);

/// null without a value. A code is its words if there are some and `code_words`, else its number. `buffer`
/// holds what the cell's text points to.
Cell cell_of(const SignalColumn& column, const Reading& reading, bool code_words, std::string& buffer);

/// Error, reserved, out of range, cut off: what is worth a remark; not "not available".
bool is_doubtful(Validity validity);

}  // namespace tramlog
