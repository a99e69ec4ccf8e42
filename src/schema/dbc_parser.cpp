#include "schema/dbc_parser.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "schema/dbc_limits.hpp"
#include "schema/dbc_problems.hpp"
#include "schema/dbc_usual_signal.hpp"

namespace tramlog {
namespace {

bool has_letter(std::string_view text) {
  return std::any_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' || static_cast<signed char>(c) < 0;
  });
}

bool is_hex(std::string_view text) {
  return text.size() > 2 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X');
}

// "1e308": a number, but not for a Decimal.
bool is_beyond_decimals(const DbcToken& token) {
  if (token.kind != DbcToken::Kind::number) return false;
  const std::size_t e = token.text.find_first_of("eE");
  if (e == std::string_view::npos) return false;
  const std::string_view power = token.text.substr(e + 1);
  const std::size_t sign = power.starts_with('+') || power.starts_with('-') ? 1 : 0;
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  return parse_decimal(token.text.substr(0, e)).has_value() && power.size() > sign &&
         std::all_of(power.begin() + static_cast<std::ptrdiff_t>(sign), power.end(), is_digit);
}

}  // namespace

std::optional<std::uint64_t> parse_dbc_unsigned(std::string_view text) {
  constexpr std::size_t kNeverTooLarge = 19;  // decimal digits
  if (text.starts_with('+')) text.remove_prefix(1);
  std::uint64_t value = 0;
  if (text.size() <= kNeverTooLarge) {
    std::size_t i = 0;
    for (; i < text.size() && text[i] >= '0' && text[i] <= '9'; ++i)
      value = value * 10 + static_cast<std::uint64_t>(text[i] - '0');
    if (i == text.size() && i > 0) return value;
    value = 0;
  }
  const int base = is_hex(text) ? 16 : 10;
  if (base == 16) text.remove_prefix(2);
  const char* const end = text.data() + text.size();
  const auto [stop, fault] = std::from_chars(text.data(), end, value, base);
  if (fault != std::errc{} || stop != end) return std::nullopt;
  return value;
}

std::optional<Decimal> parse_dbc_decimal(std::string_view text) {
  const char* const end = text.data() + text.size();
  if (Decimal value; !text.empty() && read_usual_decimal(text.data(), end, value) == end) return value;
  if (!is_hex(text)) return parse_decimal(text);
  const auto value = parse_dbc_unsigned(text);
  if (!value || *value > INT64_MAX) return std::nullopt;
  return decimal_of(static_cast<std::int64_t>(*value));
}

std::optional<DbcKey> dbc_key_of(std::uint64_t written, bool& unflagged) {
  constexpr std::uint32_t kMax29 = 0x1FFF'FFFF;
  constexpr std::uint32_t kMax11 = 0x7FF;
  unflagged = false;
  if (written > UINT32_MAX) return std::nullopt;
  const auto bits = static_cast<std::uint32_t>(written);
  const std::uint32_t id = bits & ~kDbcExtendedBit;
  if (id > kMax29) return std::nullopt;
  if (bits != id || id <= kMax11) return bits;
  unflagged = true;
  return id | kDbcExtendedBit;
}

DbcParser::DbcParser(std::string_view text, const std::string& name)
    : lexer_(text), index_(file_.messages), end_of_text_(text.data() + text.size()) {
  file_.name = name;
}

DbcFile DbcParser::read() {
  advance();
  while (token_.kind != DbcToken::Kind::end) statement();
  subject_message_ = nullptr;
  subject_key_.reset();
  apply_defaults();
  subject_name_ = {};
  if (file_.messages.empty() && !any_statement_)
    problem(Severity::error, 0, 0, "the file holds no statement of a DBC file",
            "check that it is a DBC file and not something else");
  else if (file_.messages.empty())
    problem(Severity::warning, 0, 0, "the file holds no message (BO_)", "check that it is the right file");
  sort_problems(file_);
  return std::move(file_);
}

void DbcParser::statement() {
  subject_message_ = nullptr;
  subject_key_.reset();
  subject_name_ = {};
  unclosed_ = false;
  statement_line_ = token_.line;
  const DbcKeyword keyword =
      token_.kind == DbcToken::Kind::word ? dbc_keyword(token_.text) : DbcKeyword::none;
  if (keyword == DbcKeyword::none) return unknown_statement();
  any_statement_ = true;
  advance();
  switch (keyword) {
    case DbcKeyword::signal:
      return read_signal();
    case DbcKeyword::message:
      return read_message();
    case DbcKeyword::comment:
      return read_comment();
    case DbcKeyword::attribute:
      return read_attribute();
    case DbcKeyword::values:
      return read_values();
    case DbcKeyword::value_table:
      return read_value_table();
    case DbcKeyword::attribute_def:
      return read_definition();
    case DbcKeyword::attribute_default:
      return read_default();
    case DbcKeyword::multiplex_ranges:
      return read_multiplex_ranges();
    case DbcKeyword::value_type:
      return read_value_type();
    case DbcKeyword::version:
      return read_version();
    case DbcKeyword::new_symbols:
      return read_symbols();
    case DbcKeyword::nodes:
    case DbcKeyword::bit_timing:
      return read_nodes();
    case DbcKeyword::environment:
    case DbcKeyword::group:
    case DbcKeyword::transmitters:
    case DbcKeyword::relation_attribute:
    case DbcKeyword::skipped:
    case DbcKeyword::none:
      return skip_statement(false);
  }
}

void DbcParser::unknown_statement() {
  if (token_.is(';')) return advance();
  if (token_.kind != DbcToken::Kind::word) {
    if (++stray_ <= kMaxDbcUnknownKeywords)
      problem(Severity::error, token_, found() + " where a keyword such as BO_ or CM_ is expected",
              "remove it, or check the quotes and ';' of the lines before");
  } else if (unknown_keywords_.size() < kMaxDbcUnknownKeywords &&
             unknown_keywords_.emplace(token_.text.substr(0, kMaxDbcQuoted)).second) {
    problem(Severity::warning, token_,
            fmt::format("\"{}\" is no known keyword", quoted_piece(token_.value())),
            "correct it, or leave it: its statements are skipped");
  }
  skip_statement();
}

void DbcParser::read_version() {
  form_ = "write it as VERSION \"text\"";
  if (take_text(file_.version, "a text in quotes")) return;
  skip_statement();
}

// The list of keywords that the writer knows; their names only, so they begin no statement.
void DbcParser::read_symbols() {
  if (token_.is(':')) advance();
  while (token_.kind == DbcToken::Kind::word && !begins_dbc_statement(token_.text.data(), end_of_text_))
    advance();
}

void DbcParser::read_nodes() {
  while (!at_end()) advance();
}

void DbcParser::advance() {
  end_line_ = lexer_.line();
  end_column_ = lexer_.column();
  lexer_.next(token_);
  if (token_.closed) return;
  unclosed_ = true;
  if (!skipping_)
    problem(Severity::error, token_, "the text that begins here has no closing quote",
            "put a \" behind its last character");
}

bool DbcParser::at_statement() const {
  if (token_.kind == DbcToken::Kind::end) return true;
  return token_.first_on_line && token_.kind == DbcToken::Kind::word &&
         dbc_keyword(token_.text) != DbcKeyword::none;
}

void DbcParser::skip_statement(bool quietly) {
  skipping_ = quietly;
  while (!at_end()) advance();
  skipping_ = false;
  if (token_.is(';')) advance();
}

void DbcParser::finish_statement() {
  if (token_.is(';')) return advance();
  if (!unclosed_) expected("';'", Severity::warning);
  skip_statement();
}

bool DbcParser::take(char mark) {
  if (token_.is(mark)) {
    advance();
    return true;
  }
  const char what[] = {'\'', mark, '\'', '\0'};
  expected(what);
  return false;
}

bool DbcParser::at_name() const {
  if (at_statement()) return false;
  if (token_.kind == DbcToken::Kind::word) return true;
  return token_.kind == DbcToken::Kind::number && has_letter(token_.text) && !parse_dbc_decimal(token_.text);
}

bool DbcParser::take_name(std::string& name, std::string_view what) {
  if (!at_name()) {
    expected(what);
    return false;
  }
  if (token_.plain)
    name = token_.text;
  else
    name = token_.value();
  subject_name_ = token_.text;
  advance();
  return true;
}

bool DbcParser::take_text(std::string& text, std::string_view what) {
  if (token_.kind != DbcToken::Kind::string) {
    expected(what);
    return false;
  }
  if (!token_.closed) {
    const std::size_t last = token_.text.find_last_not_of(" \t\r\n;");
    token_.text = token_.text.substr(0, last == std::string_view::npos ? 0 : last + 1);
  }
  if (token_.plain)
    text = token_.text;
  else
    text = token_.value();
  advance();
  return true;
}

std::optional<std::uint64_t> DbcParser::take_unsigned(std::string_view what) {
  std::optional<std::uint64_t> value;
  if (token_.kind == DbcToken::Kind::number) value = parse_dbc_unsigned(token_.text);
  if (value)
    advance();
  else
    expected(what);
  return value;
}

std::optional<Decimal> DbcParser::take_decimal(std::string_view what) {
  std::optional<Decimal> value;
  if (token_.kind == DbcToken::Kind::number) value = parse_dbc_decimal(token_.text);
  if (value)
    advance();
  else if (is_beyond_decimals(token_))
    problem(Severity::error, token_,
            fmt::format("{} {} is too large or too small to calculate with", what, quoted_piece(token_.text)),
            "correct it; the signal is left out");
  else
    expected(what);
  return value;
}

std::string DbcParser::found() const {
  if (token_.kind == DbcToken::Kind::end) return "the file ends";
  if (at_statement()) return "the statement ends";
  if (token_.kind == DbcToken::Kind::string) return "a text in quotes stands";
  return fmt::format("\"{}\" stands", quoted_piece(token_.value()));
}

void DbcParser::expected(std::string_view what, Severity severity) {
  if (!has_room_for_problem(file_)) return count_problem(file_, severity);
  const bool ends = at_statement();
  problem(severity, ends ? end_line_ : token_.line, ends ? end_column_ : token_.column,
          fmt::format("{} where {} is expected", found(), what), std::string(form_));
}

void DbcParser::problem(Severity severity, std::uint32_t line, std::uint32_t column, std::string text,
                        std::string remedy) {
  if (!has_room_for_problem(file_)) return count_problem(file_, severity);
  add_problem(file_, severity, line, column, subject(), std::move(text), std::move(remedy));
}

std::string DbcParser::subject() const {
  DbcToken token;  // names may be Latin-1
  token.plain = false;
  token.text = subject_name_;
  const std::string name = token.value();
  if (subject_message_ != nullptr) return dbc_subject(*subject_message_, name);
  if (!subject_key_) return quoted_piece(name);
  std::string out =
      "message " + dbc_id_text(*subject_key_ & ~kDbcExtendedBit, (*subject_key_ & kDbcExtendedBit) != 0);
  if (!name.empty()) out += ", signal " + quoted_piece(name);
  return out;
}

bool DbcParser::has_room(std::size_t& used, std::size_t most, std::size_t more, std::string_view what) {
  if (more <= most - std::min(used, most)) {
    used += more;
    return true;
  }
  if (full_.insert(what).second)
    problem(
        Severity::error, token_,
        fmt::format("the file holds too many {}: from here on they are left out, {} is the most", what, most),
        "split the file");
  return false;
}

DbcFile parse_dbc(std::string_view text, const std::string& name) {
  if (text.starts_with("\xFF\xFE") || text.starts_with("\xFE\xFF")) {
    DbcFile file;
    file.name = name;
    add_problem(file, SchemaProblem::Severity::error, 0, 0, "", "the file is UTF-16 text",
                "save it as UTF-8 or Latin-1");
    return file;
  }
  DbcFile file = DbcParser(text.substr(0, kMaxSchemaBytes), name).read();
  if (text.size() > kMaxSchemaBytes) {
    add_problem(
        file, SchemaProblem::Severity::error, 0, 0, "",
        fmt::format("the file has {} bytes, only the first {} are read", text.size(), kMaxSchemaBytes),
        "split the file");
    sort_problems(file);
  }
  return file;
}

}  // namespace tramlog
