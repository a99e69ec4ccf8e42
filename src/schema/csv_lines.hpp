// Lines of a CSV file (RFC 4180): fields between commas, perhaps in double quotes; # begins a comment line.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace tramlog {

class CsvLines {
 public:
  /// `text` must outlive the reader; a byte order mark at its begin is skipped.
  explicit CsvLines(std::string_view text);

  /// Steps to the next line that is neither empty nor a comment; false at the end. A quoted field may hold
  /// line ends.
  bool next();
  /// Fields of this line, without blanks around unquoted ones; UTF-8, from Latin-1 where the file has that.
  const std::vector<std::string>& fields() const { return fields_; }
  /// 1-based number of this line; of its first one if it has several.
  std::uint32_t line() const { return line_; }
  /// A quoted field of this line was not closed before the text ended, or text follows its closing quote.
  bool has_bad_quotes() const { return bad_quotes_; }

 private:
  void take_field();
  bool at_line_end() const;
  void skip_line_end();

  std::string_view text_;
  std::size_t at_ = 0;
  std::uint32_t line_ = 0;
  std::uint32_t next_line_ = 1;
  bool bad_quotes_ = false;
  std::vector<std::string> fields_;
};

/// Header line as lower-case names; empty if there is none.
std::vector<std::string> csv_header(std::string_view text);
/// What is wrong with a line that has more than `columns` fields, fields without text at its end aside; empty
/// if nothing is.
std::string csv_surplus(const std::vector<std::string>& fields, std::size_t columns);
inline constexpr const char* kCsvSurplusRemedy = "put a field that holds commas in double quotes";
/// Index of a column in a header, -1 if there is none.
int column_of(const std::vector<std::string>& header, std::string_view name);

}  // namespace tramlog
