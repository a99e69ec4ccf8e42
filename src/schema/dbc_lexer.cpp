#include "schema/dbc_lexer.hpp"

#include <array>
#include <cstring>

#include "base/utf8.hpp"
#include "schema/dbc_file.hpp"
#include "schema/dbc_keywords.hpp"

namespace tramlog {
namespace {

enum Class : std::uint8_t { kBlank, kLineEnd, kWord, kDigit, kQuote, kSign, kPoint, kSlash, kMark };

constexpr std::array<std::uint8_t, 256> kClasses = [] {
  std::array<std::uint8_t, 256> classes{};
  for (unsigned c = 0; c < 256; ++c) {
    classes[c] = kMark;
    if (c <= ' ') classes[c] = kBlank;  // control characters too: some tools leave them at the end
    if ((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' || c >= 0x80) classes[c] = kWord;
    if (c >= '0' && c <= '9') classes[c] = kDigit;
  }
  classes['\r'] = classes['\n'] = kLineEnd;
  classes['"'] = kQuote;
  classes['+'] = classes['-'] = kSign;
  classes['.'] = kPoint;
  classes['/'] = kSlash;
  return classes;
}();

// Bytes that a string takes without a look.
constexpr std::array<bool, 256> kOrdinary = [] {
  std::array<bool, 256> ordinary{};
  for (unsigned c = 0; c < 0x80; ++c) ordinary[c] = c != '"' && c != '\\' && c != '\r' && c != '\n';
  return ordinary;
}();

Class class_of(char c) {
  return static_cast<Class>(kClasses[static_cast<unsigned char>(c)]);
}

const char* after_blanks(const char* at, const char* end) {
  while (at != end && (*at == ' ' || *at == '\t')) ++at;
  return at;
}

bool at_line_end(const char* at, const char* end) {
  return at == end || *at == '\r' || *at == '\n';
}

}  // namespace

std::string DbcToken::value() const {
  if (plain) return std::string(text);
  const bool latin1 = !is_utf8(text);
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    const char following = i + 1 < text.size() ? text[i + 1] : '\0';
    if (c == '\\' && (following == '"' || following == '\\')) {
      out.push_back(following);
      ++i;
    } else if (c == '\r') {
      out.push_back('\n');
      if (following == '\n') ++i;
    } else if (latin1) {
      append_utf8(out, static_cast<unsigned char>(c));
    } else {
      out.push_back(c);
    }
  }
  return out;
}

DbcLexer::DbcLexer(std::string_view text) : at_(text.data()), end_(text.data() + text.size()) {
  if (text.starts_with("\xEF\xBB\xBF")) at_ += 3;
  line_begin_ = at_;
}

void DbcLexer::end_line() {
  if (*at_ == '\r' && at_ + 1 != end_ && at_[1] == '\n') ++at_;
  ++at_;
  ++line_;
  line_begin_ = at_;
}

void DbcLexer::next(DbcToken& token) {
  token.first_on_line = at_ == line_begin_;
  token.plain = true;
  token.closed = true;
  Class kind = kMark;
  while (true) {
    if (at_ == end_) {
      token.kind = DbcToken::Kind::end;
      token.first_on_line = true;
      token.line = line_;
      token.column = column();
      token.text = {};
      return;
    }
    kind = class_of(*at_);
    if (kind == kBlank) {
      ++at_;
    } else if (kind == kLineEnd) {
      end_line();
      token.first_on_line = true;
    } else if (kind == kSlash && at_ + 1 != end_ && at_[1] == '/') {
      while (!at_line_end(at_, end_)) ++at_;
    } else {
      break;
    }
  }
  token.line = line_;
  token.column = column();
  const char* const begin = at_;
  if (kind == kWord) {
    unsigned char all = 0;
    do all |= static_cast<unsigned char>(*at_++);
    while (at_ != end_ && (class_of(*at_) == kWord || class_of(*at_) == kDigit));
    token.kind = DbcToken::Kind::word;
    token.plain = all < 0x80;
  } else if (kind == kQuote) {
    read_string(token);
    return;
  } else {
    const char following = at_ + 1 != end_ ? at_[1] : '\0';
    const Class then = class_of(following);
    if (kind == kDigit || (kind == kSign && (then == kDigit || then == kPoint)) ||
        (kind == kPoint && then == kDigit)) {
      read_number();
      token.kind = DbcToken::Kind::number;
    } else {
      ++at_;
      token.kind = DbcToken::Kind::mark;
    }
  }
  token.text = {begin, static_cast<std::size_t>(at_ - begin)};
}

void DbcLexer::read_number() {
  const char* const begin = at_++;
  const char* const digits = class_of(*begin) == kSign ? at_ : begin;
  const bool hex = end_ - digits > 1 && digits[0] == '0' && (digits[1] == 'x' || digits[1] == 'X');
  for (; at_ != end_; ++at_) {
    const Class kind = class_of(*at_);
    if (kind == kDigit || kind == kPoint || kind == kWord) continue;
    const bool exponent = kind == kSign && !hex && (at_[-1] == 'e' || at_[-1] == 'E') && at_ + 1 != end_ &&
                          class_of(at_[1]) == kDigit;
    if (!exponent) return;
  }
}

void DbcLexer::read_string(DbcToken& token) {
  const char* const begin = ++at_;
  token.kind = DbcToken::Kind::string;
  while (true) {
    while (at_ != end_ && kOrdinary[static_cast<unsigned char>(*at_)]) ++at_;
    if (at_ == end_) break;
    if (*at_ == '"') {
      token.text = {begin, static_cast<std::size_t>(at_ - begin)};
      ++at_;
      return;
    }
    token.plain = false;
    if (*at_ == '\\') {
      const char following = at_ + 1 != end_ ? at_[1] : '\0';
      const bool escaped = following == '\\' || (following == '"' && !quote_ends_text(at_ + 1));
      at_ += escaped ? 2 : 1;
    } else if (*at_ == '\r' || *at_ == '\n') {
      const char* const line_end = at_;
      const char* const line_begin = line_begin_;
      end_line();
      if (!begins_dbc_statement(at_, end_) || closes_later(at_)) continue;
      // The statement's line is left to be read: the line end belongs to it.
      at_ = line_end;
      line_begin_ = line_begin;
      --line_;
      break;
    } else {
      ++at_;
    }
  }
  token.closed = false;
  token.text = {begin, static_cast<std::size_t>(at_ - begin)};
}

// A quote after a backslash that nevertheless closes: ";" and a line end follow, then a statement or nothing.
bool DbcLexer::quote_ends_text(const char* quote) const {
  const char* at = after_blanks(quote + 1, end_);
  if (at == end_ || *at != ';') return false;
  at = after_blanks(at + 1, end_);
  if (!at_line_end(at, end_)) return false;
  while (at != end_ && (*at == ' ' || *at == '\t' || *at == '\r' || *at == '\n')) ++at;
  return at == end_ || begins_dbc_statement(at, end_);
}

// Whether the next quote looks like the one that closes a comment. What was found is kept, so that a hostile
// text is not searched again and again.
bool DbcLexer::closes_later(const char* from) {
  if (next_quote_ != nullptr && next_quote_ >= from) return next_quote_closes_;
  const char* at = from;
  while (at != end_) {
    at = static_cast<const char*>(std::memchr(at, '"', static_cast<std::size_t>(end_ - at)));
    if (at == nullptr) at = end_;
    if (at == end_ || at[-1] != '\\') break;
    ++at;
  }
  next_quote_ = at;
  next_quote_closes_ = false;
  if (at != end_) {
    at = after_blanks(at + 1, end_);
    if (at != end_ && *at == ';') next_quote_closes_ = at_line_end(after_blanks(at + 1, end_), end_);
  }
  return next_quote_closes_;
}

std::uint64_t count_dbc_tokens(std::string_view text) {
  DbcLexer lexer(text.substr(0, kMaxSchemaBytes));
  DbcToken token;
  std::uint64_t count = 0;
  for (lexer.next(token); token.kind != DbcToken::Kind::end; lexer.next(token)) ++count;
  return count;
}

}  // namespace tramlog
