#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "base/text.hpp"
#include "decode/explain_parts.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kKeys = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789";
constexpr char kFurther = '+';        // signals beyond the keys
constexpr char kUnused = '.';         // no signal
constexpr char kShared = '*';         // several signals
constexpr std::size_t kMaxRows = 64;  // of the byte map; then the bytes in hex
constexpr std::size_t kMaxHexBytes = 256;
constexpr unsigned kBinaryBits = 16;  // longer values are shown in hex

char key_of(std::size_t index) {
  return index < kKeys.size() ? kKeys[index] : kFurther;
}

/// "1.1".
std::string place(std::uint32_t bit) {
  return fmt::format("{}.{}", bit / 8 + 1, bit % 8 + 1);
}

std::string binary(std::uint64_t raw, unsigned bits) {
  std::string text;
  for (unsigned i = bits; i-- > 0;) {
    text += static_cast<char>('0' + (raw >> i & 1));
    if (i > 0 && i % 4 == 0) text += ' ';
  }
  return text;
}

void draw_rows(ExplainPage& page, Bytes data, const std::string& owners) {
  const std::size_t rows = std::min(data.size(), kMaxRows);
  page.raw_line(owners.empty() ? "  byte  hex   bits 8 to 1" : "  byte  hex   bits 8 to 1        belong to");
  for (std::size_t i = 0; i < rows; ++i) {
    std::string line = fmt::format("  {:4}   {:02X}  ", i + 1, data[i]);
    for (unsigned bit = 8; bit-- > 0;) line += data[i] >> bit & 1 ? " 1" : " 0";
    if (!owners.empty()) {
      line += "   ";
      for (unsigned bit = 8; bit-- > 0;) {
        line += ' ';
        line += owners[i * 8 + bit];
      }
    }
    page.raw_line(line);
  }
  if (rows == data.size()) return;
  const Bytes rest = data.subspan(rows);
  const Bytes shown = rest.first(std::min(rest.size(), kMaxHexBytes));
  page.text(2, fmt::format("bytes {} to {}: {}{}", rows + 1, data.size(), hex_bytes(shown),
                           shown.size() < rest.size() ? " and so on" : ""));
}

/// Who owns each bit of the message.
std::string owners_of(const std::vector<const SignalSpec*>& present, std::size_t bytes) {
  std::string owners(bytes * 8, kUnused);
  for (std::size_t i = 0; i < present.size(); ++i)
    for (const std::uint32_t bit : bit_places(*present[i]))
      if (bit < owners.size()) owners[bit] = owners[bit] == kUnused ? key_of(i) : kShared;
  return owners;
}

std::string position_words(const SignalSpec& signal) {
  const std::vector<std::uint32_t> places = bit_places(signal);
  const std::uint32_t low = places.front(), high = places.back();
  std::string where;
  if (low / 8 == high / 8)
    where = places.size() == 1   ? fmt::format("bit {}", place(low))
            : places.size() == 8 ? fmt::format("byte {}", low / 8 + 1)
                                 : fmt::format("bits {} to {}", place(low), place(high));
  else if (signal.order == ByteOrder::little)
    where = low % 8 == 0 && high % 8 == 7 ? fmt::format("bytes {} to {}", low / 8 + 1, high / 8 + 1)
                                          : fmt::format("bits {} to {}", place(low), place(high));
  else
    where = fmt::format("bits {} down to {}", place(high), place(low));
  std::string kind;
  switch (signal.encoding) {
    case Encoding::unsigned_integer:
      kind = "unsigned";
      break;
    case Encoding::signed_integer:
      kind = "two's complement";
      break;
    case Encoding::float32:
    case Encoding::float64:
      kind = "binary fraction (IEEE 754)";
      break;
  }
  std::string text = fmt::format("{}, {}, {}", where, counted(signal.bit_length, "bit", "bits"), kind);
  if (low / 8 != high / 8)
    text += signal.order == ByteOrder::little ? ", least significant byte first"
                                              : ", most significant byte first";
  return text;
}

std::string raw_words(const SignalSpec& signal, std::uint64_t raw) {
  std::string bits =
      signal.bit_length <= kBinaryBits ? "bits " + binary(raw, signal.bit_length) + " = " : "raw ";
  if (signal.encoding == Encoding::signed_integer)
    return bits + fmt::format("{} (0x{:X})", static_cast<std::int64_t>(signal.plan.extend(raw)), raw);
  return bits + fmt::format("{} (0x{:X})", raw, raw);
}

std::string number_words(const Number& number, std::string_view unit) {
  std::string text = is_finite(number) ? format_number(number) : "not a number";
  if (!unit.empty()) text += fmt::format(" {}", unit);
  return text;
}

std::string arithmetic_words(const Reading& reading, const UnitChoice& units) {
  const SignalSpec& signal = *reading.signal;
  std::string raw;
  switch (signal.encoding) {
    case Encoding::unsigned_integer:
      raw = fmt::format("{}", reading.raw);
      break;
    case Encoding::signed_integer:
      raw = fmt::format("{}", static_cast<std::int64_t>(signal.plan.extend(reading.raw)));
      break;
    case Encoding::float32:
    case Encoding::float64:
      raw = "fraction";
      break;
  }
  std::string text = fmt::format("{} x {}", raw, signal.factor.to_string());
  const std::string offset = signal.offset.to_string();
  text += offset.starts_with('-') ? fmt::format(" - {}", offset.substr(1)) : fmt::format(" + {}", offset);
  text += " = " + number_words(reading.value, printable_utf8(signal.unit));
  if (const auto conversion = conversion_of(signal.unit, units))
    text += " = " +
            number_words(convert(reading.value, *conversion, signal.factor.to_double()), conversion->unit);
  return text;
}

std::string choice_words(const SignalSpec& signal) {
  std::string text;
  for (std::size_t i = 0; i < signal.present_for.size() && i < 16; ++i) {
    const RawRange& range = signal.present_for[i];
    if (i > 0) text += " or ";
    text += range.first == range.last ? fmt::format("{}", range.first)
                                      : fmt::format("{} to {}", range.first, range.last);
  }
  if (signal.present_for.size() > 16) text += " or others";
  return text;
}

const SignalSpec* chooser_of(const MessageSpec& spec, const SignalSpec& signal) {
  return signal.multiplexor < 0 ? nullptr : &spec.signals[static_cast<std::size_t>(signal.multiplexor)];
}

void explain_one(ExplainPage& page, const Schema& schema, const MessageSpec& spec, const Reading& reading,
                 char key, std::size_t data_bytes, const UnitChoice& units) {
  const SignalSpec& signal = *reading.signal;
  std::string head = printable_utf8(signal.name);
  if (signal.title != signal.name) head += ": " + printable_utf8(signal.title);
  head += fmt::format(" ({}", printable_utf8(schema.source_line(spec, signal.line)));
  if (signal.spn) head += fmt::format(", SPN {}", *signal.spn);
  head += ')';
  page.row(fmt::format("{}  ", key), page.shown(head));
  page.text(5, page.shown(position_words(signal)));
  if (const SignalSpec* chooser = chooser_of(spec, signal))
    page.text(5, page.shown(fmt::format("present because {} is {}", printable_utf8(chooser->name),
                                        choice_words(signal))));
  if (reading.validity != Validity::cut_off) {
    page.text(5, raw_words(signal, reading.raw));
    if (reading.text) page.text(5, page.shown("named \"" + printable_utf8(*reading.text) + "\""));
    // A named code without a unit is no quantity: scaling it says nothing.
    if (reading.has_value() && !(reading.text && signal.unit.empty()) && !signal.characters)
      page.text(5, page.shown(arithmetic_words(reading, units)));
    if (signal.characters) page.text(5, page.shown("as text \"" + characters_of(reading) + "\""));
  }
  page.text(5, page.shown(validity_reason(reading, data_bytes)));
}

void explain_absent(ExplainPage& page, const Schema& schema, const MessageSpec& spec,
                    const std::vector<Reading>& readings) {
  bool first = true;
  for (const SignalSpec& signal : spec.signals) {
    const auto here = [](const SignalSpec& wanted) {
      return [&wanted](const Reading& reading) { return reading.signal == &wanted; };
    };
    if (std::any_of(readings.begin(), readings.end(), here(signal))) continue;
    if (first) {
      page.gap();
      page.raw_line("Signals that are not in this message");
      first = false;
    }
    std::string text = fmt::format("{} ({})", printable_utf8(signal.name),
                                   printable_utf8(schema.source_line(spec, signal.line)));
    if (const SignalSpec* chooser = chooser_of(spec, signal)) {
      text += fmt::format(": only if {} is {}", printable_utf8(chooser->name), choice_words(signal));
      const auto said = std::find_if(readings.begin(), readings.end(), here(*chooser));
      if (said == readings.end())
        text += ", which is not here either";
      else if (said->validity == Validity::cut_off)
        text += ", which is cut off";
      else
        text += fmt::format("; it is {}", said->raw);
    }
    page.text(2, page.shown(text));
  }
}

/// Runs of bits without a signal, inside of the schema's length.
void explain_unused(ExplainPage& page, const std::string& owners, Bytes data, std::size_t length) {
  const std::size_t end = std::min(data.size(), length) * 8;
  std::string text;
  std::size_t runs = 0;
  for (std::size_t at = 0; at < end;) {
    if (owners[at] != kUnused) {
      ++at;
      continue;
    }
    // Whole bytes of the same value make one run, else a run ends with its byte.
    const auto byte_is_free = [&](std::size_t byte) {
      return byte * 8 < end && owners.compare(byte * 8, 8, std::string(8, kUnused)) == 0;
    };
    if (++runs <= kMaxRows) text += text.empty() ? "" : ", ";
    if (at % 8 == 0 && byte_is_free(at / 8)) {
      const std::size_t first = at / 8;
      std::size_t last = first;
      while (byte_is_free(last + 1) && data[last + 1] == data[first]) ++last;
      if (runs <= kMaxRows)
        text += first == last ? fmt::format("byte {} = {:02X}", first + 1, data[first])
                              : fmt::format("bytes {} to {} = {:02X} each", first + 1, last + 1, data[first]);
      at = (last + 1) * 8;
      continue;
    }
    std::size_t stop = at;
    while (stop + 1 < end && (stop + 1) % 8 != 0 && owners[stop + 1] == kUnused) ++stop;
    const auto width = static_cast<unsigned>(stop - at + 1);
    const std::uint64_t value = data[at / 8] >> (at % 8) & ((1u << width) - 1);
    const auto low = static_cast<std::uint32_t>(at), high = static_cast<std::uint32_t>(stop);
    if (runs <= kMaxRows) {
      text += width == 1 ? fmt::format("bit {}", place(low))
                         : fmt::format("bits {} to {}", place(low), place(high));
      text += " = " + binary(value, width);
    }
    at = stop + 1;
  }
  if (runs == 0) return;
  if (runs > kMaxRows) text += fmt::format(" and {} more", runs - kMaxRows);
  page.gap();
  page.text(0, "Bits that no signal uses: " + text);
}

}  // namespace

std::vector<std::uint32_t> bit_places(const SignalSpec& signal) {
  std::vector<std::uint32_t> places;
  places.reserve(signal.bit_length);
  std::uint32_t at = signal.start_bit;
  for (unsigned i = 0; i < signal.bit_length; ++i) {
    places.push_back(at);
    if (signal.order == ByteOrder::little)
      ++at;
    else
      at = at % 8 == 0 ? at + 15 : at - 1;  // down in the byte, then bit 7 of the next
  }
  if (signal.order == ByteOrder::big) std::reverse(places.begin(), places.end());
  return places;
}

void explain_bytes(ExplainPage& page, Bytes data) {
  if (!data.empty()) draw_rows(page, data, {});
}

void explain_signals(ExplainPage& page, const Schema& schema, const MessageSpec& spec, Bytes data,
                     const UnitChoice& units) {
  std::vector<Reading> readings;
  read_signals(spec, data, readings);
  std::vector<const SignalSpec*> present;
  for (const Reading& reading : readings) present.push_back(reading.signal);
  const std::string owners = owners_of(present, data.size());
  if (!data.empty()) {
    draw_rows(page, data, owners);
    std::string legend;
    if (owners.find(kUnused) != std::string::npos) legend += "  . no signal";
    if (owners.find(kShared) != std::string::npos) legend += "  * several signals";
    if (owners.find(kFurther) != std::string::npos) legend += "  + signals beyond the letters";
    if (!legend.empty()) page.raw_line(legend);
  }
  page.gap();
  page.raw_line(readings.empty() ? "The schema gives this message no signals." : "Signals");
  for (std::size_t i = 0; i < readings.size(); ++i)
    explain_one(page, schema, spec, readings[i], key_of(i), data.size(), units);
  explain_absent(page, schema, spec, readings);
  explain_unused(page, owners, data, spec.length);
  if (data.size() > spec.length) {
    const Bytes rest = data.subspan(spec.length);
    const Bytes shown = rest.first(std::min(rest.size(), kMaxHexBytes));
    page.gap();
    page.text(0, fmt::format("Beyond the {} of the schema: {}{}", counted(spec.length, "byte", "bytes"),
                             hex_bytes(shown), shown.size() < rest.size() ? " and so on" : ""));
  }
}

}  // namespace tramlog
