// The tokens of a DBC file. Reads any bytes; every byte belongs to a token or is blank.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace tramlog {

struct DbcToken {
  enum class Kind : std::uint8_t {
    end,
    word,    // letters, digits, underscores, any byte from 0x80 on
    number,  // begins with a digit, sign or point; letters may follow ("0x1F", "1E-07", but also "2nd")
    string,  // `text` is what stands between the quotes
    mark,    // any other single character
  };
  Kind kind = Kind::end;
  bool first_on_line = false;
  bool plain = true;         // `text` can be taken as it is: ASCII, no escapes, no line ends
  bool closed = true;        // false: a string without closing quote (see DbcLexer)
  std::uint32_t line = 1;    // 1-based, of its first character
  std::uint32_t column = 1;  // 1-based, in bytes; a byte order mark does not count
  std::string_view text;

  bool is(char mark) const { return kind == Kind::mark && text.front() == mark; }
  /// Text in UTF-8: escapes undone, line ends as \n, and as Latin-1 if it is no UTF-8.
  std::string value() const;
};

/// Strings may run over several lines. A quote that is never closed would swallow the rest of the file; so a
/// string also ends, unclosed, before a line that looks like a statement, unless the next quote is followed
/// by
/// ";" and a line end, as the quote at the end of a comment is. "\"" inside a string is an escaped quote,
/// except where a text ends with a backslash ("C:\logs\"; and then a statement).
class DbcLexer {
 public:
  explicit DbcLexer(std::string_view text);

  void next(DbcToken& token);
  /// Where the last token ended.
  std::uint32_t line() const { return line_; }
  std::uint32_t column() const { return static_cast<std::uint32_t>(at_ - line_begin_) + 1; }

  /// What comes behind the last token, for who knows better how to read it; and on from there: on the same
  /// line, not within a token.
  const char* rest() const { return at_; }
  void skip_to(const char* at) { at_ = at; }

 private:
  void end_line();
  void read_string(DbcToken& token);
  void read_number();
  bool quote_ends_text(const char* quote) const;
  bool closes_later(const char* from);

  const char* at_;
  const char* end_;
  const char* line_begin_;
  std::uint32_t line_ = 1;
  const char* next_quote_ = nullptr;  // what closes_later() found last
  bool next_quote_closes_ = false;
};

}  // namespace tramlog
