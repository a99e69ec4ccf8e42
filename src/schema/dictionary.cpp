#include "schema/dictionary.hpp"

#include <fmt/format.h>

#include <charconv>

#include "base/text.hpp"
#include "schema/csv_lines.hpp"
#include "schema/csv_problems.hpp"

namespace tramlog {
namespace {

constexpr int kMaxDecimals = 20;

struct Columns {
  int ddi = -1, name = -1, unit = -1, resolution = -1, sign = -1;
};

std::string field_at(const std::vector<std::string>& fields, int column) {
  const auto index = static_cast<std::size_t>(column);
  return column >= 0 && index < fields.size() ? fields[index] : std::string{};
}

std::optional<std::uint16_t> parse_ddi(const std::string& text) {
  std::uint16_t ddi = 0;
  const char* const end = text.data() + text.size();
  const auto [stop, fault] = std::from_chars(text.data(), end, ddi);
  if (fault != std::errc{} || stop != end) return std::nullopt;
  return ddi;
}

}  // namespace

const DictionaryEntry* Dictionary::find(std::uint16_t ddi) const {
  const auto found = entries.find(ddi);
  return found == entries.end() ? nullptr : &found->second;
}

Number Dictionary::value(const DictionaryEntry& entry, std::uint32_t raw) {
  const std::int64_t integer =
      entry.is_unsigned ? std::int64_t{raw} : std::int64_t{static_cast<std::int32_t>(raw)};
  const Decimal& resolution = entry.resolution;
  Number number;
  std::int64_t product = 0;
  bool fits = resolution.exponent >= -kMaxDecimals &&
              !__builtin_mul_overflow(integer, resolution.digits, &product) && product != INT64_MIN;
  for (int i = 0; fits && i < resolution.exponent && product != 0; ++i)
    fits = !__builtin_mul_overflow(product, std::int64_t{10}, &product) && product != INT64_MIN;
  if (!fits) {
    number.kind = Number::Kind::real;
    number.real = static_cast<double>(integer) * resolution.to_double();
    return number;
  }
  number.negative = product < 0;
  number.magnitude = static_cast<std::uint64_t>(product < 0 ? -product : product);
  number.decimals = static_cast<std::uint8_t>(resolution.exponent < 0 ? -resolution.exponent : 0);
  return number;
}

Dictionary parse_dictionary(std::string_view text, const std::string& file) {
  Dictionary dictionary;
  dictionary.file = file;
  CsvProblems problems(dictionary.problems, dictionary.problem_count, file);
  if (text.size() > kMaxSchemaBytes) {
    problems.error(0, {}, "is larger than 64 MiB", "split it");
    return dictionary;
  }
  CsvLines lines(text);
  const std::vector<std::string> header = csv_header(text);
  const Columns columns{column_of(header, "ddi"), column_of(header, "name"), column_of(header, "unit"),
                        column_of(header, "resolution"), column_of(header, "sign")};
  if (!lines.next() || columns.ddi < 0 || columns.name < 0 || columns.unit < 0 || columns.resolution < 0) {
    problems.error(lines.line(), {},
                   "the first line does not name the columns ddi, name, unit and resolution",
                   "begin the file with the line ddi,name,unit,resolution");
    return dictionary;
  }
  while (lines.next()) {
    const std::vector<std::string>& fields = lines.fields();
    if (lines.has_bad_quotes()) {
      problems.error(lines.line(), {},
                     "a field begins with a double quote that is not closed before the comma",
                     "close it, and write a double quote within a field twice");
      continue;
    }
    // If the line cannot be used either, its fields are where nobody looks for them: that is the reason then.
    const std::string surplus = csv_surplus(fields, header.size());
    const auto useless = [&](std::string subject, std::string reason, const char* remedy) {
      if (surplus.empty())
        problems.error(lines.line(), std::move(subject), std::move(reason), remedy);
      else
        problems.error(lines.line(), std::move(subject), surplus,
                       std::string(kCsvSurplusRemedy) + "; the line is left out");
    };
    const std::string number = field_at(fields, columns.ddi);
    const auto ddi = parse_ddi(number);
    if (!ddi) {
      useless({}, fmt::format("\"{}\" is no DDI", printable_utf8(number)), "give a number from 0 to 65535");
      continue;
    }
    const std::string subject = fmt::format("DDI {}", *ddi);
    const auto resolution = parse_decimal(field_at(fields, columns.resolution));
    if (!resolution || resolution->digits == 0) {
      useless(subject,
              fmt::format("the resolution \"{}\" is no number other than 0",
                          printable_utf8(field_at(fields, columns.resolution))),
              "give the number that a raw value is multiplied with, such as 0.001");
      continue;
    }
    if (!surplus.empty()) problems.warning(lines.line(), subject, surplus, kCsvSurplusRemedy);
    DictionaryEntry entry;
    entry.ddi = *ddi;
    entry.name = field_at(fields, columns.name);
    entry.unit = field_at(fields, columns.unit);
    if (entry.unit == "n/a") entry.unit.clear();
    entry.resolution = *resolution;
    entry.line = lines.line();
    const std::string sign = field_at(fields, columns.sign);
    entry.is_unsigned = sign == "unsigned";
    if (!sign.empty() && sign != "unsigned" && sign != "signed")
      problems.warning(lines.line(), subject,
                       fmt::format("the sign \"{}\" is not known", printable_utf8(sign)),
                       "write signed, unsigned or nothing");
    if (entry.name.empty()) {
      entry.name = subject;
      problems.warning(lines.line(), subject, "has no name", "give it one");
    }
    const auto [place, is_new] = dictionary.entries.try_emplace(*ddi, entry);
    if (!is_new) {
      problems.warning(lines.line(), subject,
                       fmt::format("stands in line {} too; this one counts", place->second.line),
                       "leave out one of them");
      place->second = std::move(entry);
    }
  }
  return dictionary;
}

}  // namespace tramlog
