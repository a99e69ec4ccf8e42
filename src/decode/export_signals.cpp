// The tables `signal` and `code` of a database.
#include <utility>

#include "base/text.hpp"
#include "decode/export_database.hpp"

namespace tramlog {
namespace {

Cell real(double value) {
  Number number;
  number.kind = Number::Kind::real;
  number.real = value;
  return Cell::of_number(number);
}

/// A limit of the signal in the column's unit.
Cell limit(const std::optional<Decimal>& value, const SignalColumn& column) {
  if (!value) return {};
  const double own = value->to_double();
  return real(column.conversion ? own * column.conversion->factor + column.conversion->offset : own);
}

}  // namespace

SignalTables::SignalTables(const Schema& schema, TableWriter& out) : schema_(schema), out_(out) {
  using Type = Column::Type;
  Table signals;
  signals.name = "signal";
  signals.comment = "what the columns of the other tables are";
  signals.columns = {{"message", Type::text, "", "table", false, {}},
                     {"signal", Type::text, "", "column; NULL: no room for it in the table", false, {}},
                     {"message_name", Type::text, "", "in the schema", false, {}},
                     {"signal_name", Type::text, "", "in the schema", false, {}},
                     {"unit", Type::text, "", "", false, {}},
                     {"spn", Type::integer, "", "", false, {}},
                     {"title", Type::text, "", "", false, {}},
                     {"minimum", Type::real, "", "", false, {}},
                     {"maximum", Type::real, "", "", false, {}},
                     {"resolution", Type::real, "", "", false, {}},
                     {"period_ms", Type::real, "", "", false, {}},
                     {"schema_source", Type::text, "", "file", false, {}}};
  signals_ = out_.add_table(std::move(signals));
  Table codes;
  codes.name = "code";
  codes.comment = "words of the codes that stand in the other tables";
  codes.columns = {{"message", Type::text, "", "table", false, {}},
                   {"signal", Type::text, "", "column", false, {}},
                   {"code", Type::integer, "", "", false, {}},
                   {"text", Type::text, "", "", false, {}}};
  codes_ = out_.add_table(std::move(codes));
}

void SignalTables::add(const std::string& table, const std::string& column, const SignalColumn& shown) {
  add_row(table, Cell::of_text(column), shown);
  // Codes of scaled signals mark single values ("65535: not available"): they are no numbers of the column.
  for (const ValueWord& known : words_of(shown)) {
    const Cell row[] = {Cell::of_text(table), Cell::of_text(column), Cell::of_integer(known.value),
                        Cell::of_text(known.word)};
    out_.row(codes_, row);
  }
}

void SignalTables::add_left_out(const std::string& table, const SignalColumn& shown) {
  add_row(table, Cell::of_null(), shown);
}

void SignalTables::add_row(const std::string& table, const Cell& column, const SignalColumn& shown) {
  const double factor = shown.conversion ? shown.conversion->factor : 1;
  if (shown.signal == nullptr) {
    const std::string own = shown.entry == nullptr ? "" : printable_utf8(shown.entry->name);
    const Cell cells[] = {Cell::of_text(table),
                          column,
                          Cell::of_text("process data"),
                          Cell::of_text(own),
                          Cell::of_text(shown.unit),
                          {},
                          Cell::of_text(own),
                          {},
                          {},
                          real(shown.resolution * factor)};
    out_.row(signals_, cells);
    return;
  }
  const SignalSpec& signal = *shown.signal;
  const MessageSpec& message = *signal.message;
  const std::string message_name = printable_utf8(message.name), signal_name = printable_utf8(signal.name),
                    title = printable_utf8(signal.title);
  const std::string source = message.layer < schema_.layers().size()
                                 ? printable_utf8(schema_.layers()[message.layer].name)
                                 : std::string();
  const Cell cells[] = {Cell::of_text(table),
                        column,
                        Cell::of_text(message_name),
                        Cell::of_text(signal_name),
                        shown.unit.empty() ? Cell{} : Cell::of_text(shown.unit),
                        signal.spn ? Cell::of_integer(*signal.spn) : Cell{},
                        Cell::of_text(title),
                        limit(signal.minimum, shown),
                        limit(signal.maximum, shown),
                        shown.kind == SignalColumn::Kind::number ? real(shown.resolution * factor) : Cell{},
                        message.period > 0
                            ? real(static_cast<double>(message.period) / static_cast<double>(kMillisecond))
                            : Cell{},
                        source.empty() ? Cell{} : Cell::of_text(source)};
  out_.row(signals_, cells);
}

}  // namespace tramlog
