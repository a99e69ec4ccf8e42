#include "schema/trouble_texts.hpp"

#include <fmt/format.h>

#include <charconv>
#include <optional>

#include "base/text.hpp"
#include "schema/csv_lines.hpp"
#include "schema/csv_problems.hpp"

namespace tramlog {
namespace {

constexpr std::uint32_t kMaxSpn = 524'287;  // 19 bits
constexpr std::uint32_t kMaxFmi = 31;       // 5 bits

std::optional<std::uint32_t> parse_number(const std::string& text, std::uint32_t most) {
  std::uint32_t number = 0;
  const char* const end = text.data() + text.size();
  const auto [stop, fault] = std::from_chars(text.data(), end, number);
  if (fault != std::errc{} || stop != end || number > most) return std::nullopt;
  return number;
}

// False if there was a text already.
template <class Map>
bool put(Map& texts, std::uint32_t number, const std::string& text) {
  return texts.insert_or_assign(static_cast<typename Map::key_type>(number), text).second;
}

}  // namespace

TroubleTexts parse_trouble_texts(std::string_view text, const std::string& file) {
  TroubleTexts texts;
  texts.file = file;
  CsvProblems problems(texts.problems, texts.problem_count, file);
  if (text.size() > kMaxSchemaBytes) {
    problems.error(0, {}, "is larger than 64 MiB", "split it");
    return texts;
  }
  CsvLines lines(text);
  const std::vector<std::string> header = csv_header(text);
  const int kind_column = column_of(header, "kind");
  const int number_column = column_of(header, "number");
  const int text_column = column_of(header, "text");
  if (!lines.next() || kind_column < 0 || number_column < 0 || text_column < 0) {
    problems.error(lines.line(), {}, "the first line does not name the columns kind, number and text",
                   "begin the file with the line kind,number,text");
    return texts;
  }
  while (lines.next()) {
    const std::vector<std::string>& fields = lines.fields();
    const auto field = [&](int column) {
      const auto index = static_cast<std::size_t>(column);
      return index < fields.size() ? fields[index] : std::string{};
    };
    const std::string kind = field(kind_column);
    const bool is_spn = kind == "spn";
    if (lines.has_bad_quotes()) {
      problems.error(lines.line(), {},
                     "a field begins with a double quote that is not closed before the comma",
                     "close it, and write a double quote within a field twice");
      continue;
    }
    if (!is_spn && kind != "fmi") {
      problems.error(lines.line(), {}, fmt::format("\"{}\" is no kind of number", printable_utf8(kind)),
                     "write spn or fmi");
      continue;
    }
    const std::uint32_t most = is_spn ? kMaxSpn : kMaxFmi;
    const auto number = parse_number(field(number_column), most);
    if (!number) {
      problems.error(
          lines.line(), {},
          fmt::format("\"{}\" is no {}", printable_utf8(field(number_column)), is_spn ? "SPN" : "FMI"),
          fmt::format("give a number from 0 to {}", most));
      continue;
    }
    const std::string subject = fmt::format("{} {}", is_spn ? "SPN" : "FMI", *number);
    const std::string words = field(text_column);
    if (words.empty()) {
      problems.error(lines.line(), subject, "has no text",
                     "give it one, in double quotes if it holds commas");
      continue;
    }
    if (const std::string surplus = csv_surplus(fields, header.size()); !surplus.empty())
      problems.warning(lines.line(), subject, surplus, kCsvSurplusRemedy);
    const bool is_new = is_spn ? put(texts.spn, *number, words) : put(texts.fmi, *number, words);
    if (!is_new)
      problems.warning(lines.line(), subject, "stands in the file before; this line counts",
                       "leave out one of them");
  }
  return texts;
}

}  // namespace tramlog
