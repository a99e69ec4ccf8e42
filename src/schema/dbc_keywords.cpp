#include "schema/dbc_keywords.hpp"

#include <algorithm>
#include <array>
#include <utility>

namespace tramlog {
namespace {

constexpr std::array<std::pair<std::string_view, DbcKeyword>, 38> kKeywords{{
    {"SG_", DbcKeyword::signal},
    {"BO_", DbcKeyword::message},
    {"CM_", DbcKeyword::comment},
    {"BA_", DbcKeyword::attribute},
    {"VAL_", DbcKeyword::values},
    {"SIG_VALTYPE_", DbcKeyword::value_type},
    {"SG_MUL_VAL_", DbcKeyword::multiplex_ranges},
    {"BO_TX_BU_", DbcKeyword::transmitters},
    {"SIG_GROUP_", DbcKeyword::group},
    {"BA_DEF_", DbcKeyword::attribute_def},
    {"BA_DEF_DEF_", DbcKeyword::attribute_default},
    {"VAL_TABLE_", DbcKeyword::value_table},
    {"BA_REL_", DbcKeyword::relation_attribute},
    {"BA_DEF_REL_", DbcKeyword::relation_attribute},
    {"BA_DEF_DEF_REL_", DbcKeyword::relation_attribute},
    {"VERSION", DbcKeyword::version},
    {"NS_", DbcKeyword::new_symbols},
    {"BS_", DbcKeyword::bit_timing},
    {"BU_", DbcKeyword::nodes},
    {"EV_", DbcKeyword::environment},
    {"NS_DESC_", DbcKeyword::skipped},
    {"CAT_DEF_", DbcKeyword::skipped},
    {"CAT_", DbcKeyword::skipped},
    {"FILTER", DbcKeyword::skipped},
    {"EV_DATA_", DbcKeyword::skipped},
    {"ENVVAR_DATA_", DbcKeyword::skipped},
    {"SGTYPE_", DbcKeyword::skipped},
    {"SGTYPE_VAL_", DbcKeyword::skipped},
    {"SIG_TYPE_REF_", DbcKeyword::skipped},
    {"SIGTYPE_VALTYPE_", DbcKeyword::skipped},
    {"BA_DEF_SGTYPE_", DbcKeyword::skipped},
    {"BA_SGTYPE_", DbcKeyword::skipped},
    {"BU_SG_REL_", DbcKeyword::skipped},
    {"BU_EV_REL_", DbcKeyword::skipped},
    {"BU_BO_REL_", DbcKeyword::skipped},
    {"SG_TYPE_", DbcKeyword::skipped},
    {"SIG_MUL_VAL_", DbcKeyword::skipped},
    {"VAL_REL_", DbcKeyword::skipped},
}};
constexpr std::size_t kLongestKeyword = 16;

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
bool is_word(char c) {
  return is_digit(c) || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' ||
         static_cast<unsigned char>(c) >= 0x80;
}

// Walks along one line.
struct Walk {
  const char* at;
  const char* end;

  void blanks() {
    while (at != end && (*at == ' ' || *at == '\t')) ++at;
  }
  std::string_view word() {
    const char* const begin = at;
    while (at != end && is_word(*at)) ++at;
    return {begin, static_cast<std::size_t>(at - begin)};
  }
  char peek() const { return at == end ? '\n' : *at; }
  // A word and blanks, then what `test` wants.
  template <class Test>
  bool word_then(Test test) {
    if (word().empty()) return false;
    blanks();
    return test(peek());
  }
};

bool begins_number(char c) {
  return is_digit(c) || c == '-' || c == '+';
}

bool names_object(std::string_view word) {
  return word == "BU_" || word == "BO_" || word == "SG_" || word == "EV_";
}

}  // namespace

DbcKeyword dbc_keyword(std::string_view word) {
  if (word.size() < 3 || word.size() > kLongestKeyword) return DbcKeyword::none;
  // Most words are told by their end, and most keywords are one of the five that every line begins with.
  if (word.back() != '_' && word != "VERSION" && word != "FILTER") return DbcKeyword::none;
  if (word.size() == 3) {
    const auto is = [&](char first, char second) { return word[0] == first && word[1] == second; };
    if (is('S', 'G')) return DbcKeyword::signal;
    if (is('C', 'M')) return DbcKeyword::comment;
    if (is('B', 'A')) return DbcKeyword::attribute;
    if (is('B', 'O')) return DbcKeyword::message;
  }
  if (word.size() == 4 && word == "VAL_") return DbcKeyword::values;
  for (const auto& [text, keyword] : kKeywords)
    if (text == word) return keyword;
  return DbcKeyword::none;
}

bool begins_dbc_statement(const char* at, const char* end) {
  Walk walk{at, end};
  walk.blanks();
  // Most lines of prose are told by their first letter.
  if (walk.at == end || *walk.at < 'B' || *walk.at > 'V') return false;
  const char* const begin = walk.at;
  while (walk.at != end && walk.at - begin <= static_cast<std::ptrdiff_t>(kLongestKeyword) &&
         is_word(*walk.at))
    ++walk.at;
  const DbcKeyword keyword = dbc_keyword({begin, static_cast<std::size_t>(walk.at - begin)});
  if (keyword == DbcKeyword::none) return false;
  walk.blanks();
  const char next = walk.peek();
  switch (keyword) {
    case DbcKeyword::message:
    case DbcKeyword::multiplex_ranges:
    case DbcKeyword::value_type:
    case DbcKeyword::group:
    case DbcKeyword::transmitters:
      return is_digit(next);
    case DbcKeyword::signal:
      return walk.word_then([&](char c) {
        if (c != 'M' && c != 'm') return c == ':';
        return walk.word_then([](char d) { return d == ':'; });
      });
    case DbcKeyword::comment:
    case DbcKeyword::attribute_def:
      return next == '"' || names_object(walk.word());
    case DbcKeyword::attribute:
    case DbcKeyword::attribute_default:
    case DbcKeyword::version:
      return next == '"';
    case DbcKeyword::relation_attribute:
      return next == '"' || walk.word().ends_with("_REL_");
    case DbcKeyword::values:
      return is_digit(next) || walk.word_then(begins_number);
    case DbcKeyword::value_table:
      return walk.word_then([](char c) { return begins_number(c) || c == ';'; });
    case DbcKeyword::environment:
      return walk.word_then([](char c) { return c == ':'; });
    case DbcKeyword::new_symbols:
    case DbcKeyword::bit_timing:
    case DbcKeyword::nodes:
      return next == ':';
    case DbcKeyword::none:
    case DbcKeyword::skipped:
      return false;
  }
  return false;
}

}  // namespace tramlog
