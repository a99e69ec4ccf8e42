#include "decode/export_columns.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_map>
#include <unordered_set>
#include <utility>

#include "base/text.hpp"
#include "decode/decode_filter.hpp"
#include "decode/export_process.hpp"

namespace tramlog {
namespace {

constexpr Decimal kOne{1, 0};
constexpr Decimal kZero{0, 0};

bool is_plain(const SignalSpec& signal) {
  return signal.factor == kOne && signal.offset == kZero && signal.encoding != Encoding::float32 &&
         signal.encoding != Encoding::float64;
}

/// Others of its message are there or not by its value.
bool is_multiplexor(const SignalSpec& signal) {
  if (signal.message == nullptr || !signal.message->multiplexed) return false;
  const std::vector<SignalSpec>& all = signal.message->signals;
  const auto index = static_cast<std::int32_t>(&signal - all.data());
  return std::any_of(all.begin() + index + 1, all.end(),
                     [&](const SignalSpec& other) { return other.multiplexor == index; });
}

/// Numbers from 2^63 on come, and a database's integers end there.
bool is_beyond_integers(const SignalColumn& column) {
  return column.signal != nullptr && column.kind != SignalColumn::Kind::characters && !column.conversion &&
         column.signal->encoding == Encoding::unsigned_integer && column.signal->bit_length == 64 &&
         is_plain(*column.signal);
}

/// What comes of one word of the user, in the schema's order.
void pick(const Schema& schema, const CompiledFilter& messages, const CompiledFilter* signals,
          std::vector<const SignalSpec*>& picked) {
  for (const MessageSpec* spec : schema.messages()) {
    Talk talk;
    talk.spec = spec;
    talk.pgn = spec->pgn;
    talk.extended = spec->extended;
    if (!messages.wants_message(talk)) continue;
    if (signals == nullptr) {
      for (const SignalSpec& signal : spec->signals) picked.push_back(&signal);
    } else if (const auto* of_message = signals->signals_of(spec)) {
      picked.insert(picked.end(), of_message->begin(), of_message->end());
    }
  }
}

/// "ddi:7" in either case.
std::optional<std::uint16_t> ddi_of(const CompiledFilter& filter) {
  if (!filter.wants_data_entities()) return std::nullopt;
  for (unsigned ddi = 0; ddi <= UINT16_MAX; ++ddi)
    if (filter.wants_data_entity(static_cast<std::uint16_t>(ddi))) return static_cast<std::uint16_t>(ddi);
  return std::nullopt;
}

}  // namespace

SignalColumn column_of(const SignalSpec& signal, const std::optional<UnitChoice>& units) {
  SignalColumn column;
  column.signal = &signal;
  column.name = printable_utf8(signal.name);
  column.unit = printable_utf8(signal.unit);
  column.resolution = signal.factor.to_double();
  if (signal.characters) {
    column.kind = SignalColumn::Kind::characters;
    column.unit.clear();
  } else if ((!signal.codes.empty() && signal.unit.empty() && is_plain(signal)) || is_multiplexor(signal)) {
    column.kind = SignalColumn::Kind::code;
  } else if (units) {
    column.conversion = conversion_of(signal.unit, *units);
    if (column.conversion) column.unit = column.conversion->unit;
  }
  return column;
}

Result<std::vector<SignalColumn>> choose_columns(const Schema& schema, const DecodeFilter& filter,
                                                 const std::optional<Roster>& roster,
                                                 const std::optional<UnitChoice>& units,
                                                 const std::vector<std::string>& taken) {
  DecodeFilter only_messages;
  only_messages.messages = filter.messages;
  auto messages = CompiledFilter::make(only_messages, schema, roster);
  if (!messages) return messages.error();

  std::vector<SignalColumn> columns;
  std::unordered_set<const SignalSpec*> known;
  std::unordered_set<std::uint16_t> known_ddis;
  std::unordered_map<std::string, unsigned> names;
  for (const std::string& name : taken) ++names[folded(name)];
  const auto add = [&](SignalColumn column) {
    ++names[folded(column.name)];
    columns.push_back(std::move(column));
  };
  const auto add_signals = [&](const CompiledFilter* signals) {
    std::vector<const SignalSpec*> picked;
    pick(schema, *messages, signals, picked);
    for (const SignalSpec* signal : picked)
      if (known.insert(signal).second) add(column_of(*signal, units));
  };
  if (filter.signals.empty()) add_signals(nullptr);
  for (const std::string& word : filter.signals) {
    DecodeFilter one;
    one.signals = {word};
    auto compiled = CompiledFilter::make(one, schema, roster);
    if (!compiled) return compiled.error();
    if (const auto ddi = ddi_of(*compiled)) {
      if (known_ddis.insert(*ddi).second) add(process_data_column(schema, *ddi, units));
    } else {
      add_signals(&*compiled);
    }
  }
  NameSet unique{};
  for (const std::string& name : taken) unique.take(name);
  for (SignalColumn& column : columns) {
    if (names[folded(column.name)] > 1 && column.signal != nullptr && column.signal->message != nullptr)
      column.name = printable_utf8(column.signal->message->name) + "." + column.name;
    column.name = unique.take(column.name);
  }
  return columns;
}

std::string folded(std::string_view name) {
  std::string out(name);
  for (char& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return out;
}

std::string NameSet::take(const std::string& wanted) {
  const bool unfit = wanted.empty() || folded(wanted).rfind("sqlite_", 0) == 0;
  const std::string base = unfit ? "x_" + wanted : wanted;
  std::string name = base;
  for (unsigned number = 2; !taken_.insert(folded(name)).second; ++number)
    name = fmt::format("{}_{}", base, number);
  return name;
}

Column::Type storage_type(const SignalColumn& column) {
  if (column.signal == nullptr)
    return column.entry == nullptr || (column.entry->resolution.exponent >= 0 && !column.conversion)
               ? Column::Type::integer
               : Column::Type::real;
  const SignalSpec& signal = *column.signal;
  if (column.kind == SignalColumn::Kind::characters || is_beyond_integers(column)) return Column::Type::text;
  const bool whole = signal.factor.exponent >= 0 && signal.offset.exponent >= 0 &&
                     signal.encoding != Encoding::float32 && signal.encoding != Encoding::float64;
  return whole && !column.conversion ? Column::Type::integer : Column::Type::real;
}

std::string storage_note(const SignalColumn& column) {
  return is_beyond_integers(column)
             ? "unsigned, 64 bits: as decimal text, because integers here end at 2^63 - 1"
             : "";
}

std::vector<ValueWord> words_of(const SignalColumn& column) {
  std::vector<ValueWord> words;
  if (column.kind == SignalColumn::Kind::code && is_plain(*column.signal))
    for (const CodeName& code : column.signal->codes) words.push_back({code.code, printable_utf8(code.text)});
  return words;
}

std::string_view safe_text(std::string_view text, std::string& buffer) {
  if (std::all_of(text.begin(), text.end(), [](char c) { return c >= 0x20 && c < 0x7F; })) return text;
  buffer = printable_utf8(text);
  return buffer;
}

Number shown_number(const SignalColumn& column, const Number& value) {
  return column.conversion ? convert(value, *column.conversion, column.resolution) : value;
}

Cell cell_of(const SignalColumn& column, const Reading& reading, bool code_words, std::string& buffer) {
  if (column.kind == SignalColumn::Kind::characters) {
    if (reading.validity == Validity::not_available || reading.validity == Validity::cut_off)
      return Cell::of_null();
    buffer = characters_of(reading);
    return Cell::of_text(buffer);
  }
  if (!reading.has_value()) return Cell::of_null();
  if (code_words && column.kind == SignalColumn::Kind::code && reading.text != nullptr)
    return Cell::of_text(safe_text(*reading.text, buffer));
  return Cell::of_number(shown_number(column, reading.value));
}

bool is_doubtful(Validity validity) {
  return validity != Validity::valid && validity != Validity::not_available;
}

}  // namespace tramlog
