// Reads the statements of a DBC file into a DbcFile; the body of parse_dbc(). One source file a group of
// statements: dbc_messages.cpp, dbc_texts.cpp, dbc_attributes.cpp.
#pragma once

#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "schema/dbc_file.hpp"
#include "schema/dbc_index.hpp"
#include "schema/dbc_keywords.hpp"
#include "schema/dbc_lexer.hpp"

namespace tramlog {

class DbcParser {
 public:
  DbcParser(std::string_view text, const std::string& name);
  DbcFile read();

 private:
  using Severity = SchemaProblem::Severity;
  static constexpr std::size_t kNone = static_cast<std::size_t>(-1);

  /// What a comment or an attribute belongs to.
  struct Target {
    AttributeDefinition::Of of = AttributeDefinition::Of::network;
    DbcMessage* message = nullptr;
    DbcSignal* signal = nullptr;  // null with of = signal: not in the file, already told
  };

  // Statements (the keyword is read already).
  void statement();
  void unknown_statement();
  void read_version();
  void read_symbols();
  void read_nodes();
  void read_message();
  void read_signal();
  bool read_multiplexing(DbcSignal& signal);
  bool read_usual_form(DbcSignal& signal);
  bool read_bits(DbcSignal& signal);
  bool read_scaling(DbcSignal& signal);
  void read_range(DbcSignal& signal);
  void read_receivers();
  void read_multiplex_ranges();
  void read_value_type();
  void read_comment();
  void read_values();
  void read_value_table();
  void use_value_table(DbcSignal& signal);
  void read_codes();
  void keep_last_of_equal_codes();
  void tell_replaced_codes();
  void read_definition();
  void read_choices(AttributeDefinition& definition);
  void read_limits(AttributeDefinition& definition);
  void read_attribute();
  void read_default();
  void apply_defaults();
  bool take_value(AttributeValue& value);
  void settle_value(AttributeValue& value, const AttributeDefinition& definition, const DbcToken& at);
  void settle_number(const AttributeValue& value, const AttributeDefinition& definition, const DbcToken& at);
  bool tell_unusable(AttributeDefinition::Of of, const AttributeValue& value, const DbcToken& at);
  void settle_choice(AttributeValue& value, const AttributeDefinition& definition, const DbcToken& at);
  const AttributeDefinition* definition(AttributeDefinition::Of of, const std::string& name);

  // Tokens.
  void advance();
  bool at_statement() const;  // the token begins the next statement, or the file ends
  bool at_end() const { return token_.is(';') || at_statement(); }
  void skip_statement(bool quietly = true);
  void finish_statement();
  bool take(char mark);
  bool take_name(std::string& name, std::string_view what);  // makes it the subject's name
  bool take_text(std::string& text, std::string_view what);
  std::optional<std::uint64_t> take_unsigned(std::string_view what);
  std::optional<Decimal> take_decimal(std::string_view what);
  bool at_name() const;
  /// Identifier of a message in a statement that speaks about one; none: told, or the placeholder's.
  std::optional<DbcKey> take_key();
  /// "<identifier> <signal>"; null: told, or not worth telling.
  DbcSignal* take_signal();
  bool take_target(Target& target);
  struct Spot {
    std::uint32_t line = 0, column = 0;
  };
  Spot here() const { return {token_.line, token_.column}; }
  DbcMessage* find_message(DbcKey key, Spot at);

  // Problems.
  void problem(Severity severity, std::uint32_t line, std::uint32_t column, std::string text,
               std::string remedy);
  void problem(Severity severity, const DbcToken& at, std::string text, std::string remedy) {
    problem(severity, at.line, at.column, std::move(text), std::move(remedy));
  }
  void expected(std::string_view what, Severity severity = Severity::error);  // and not token_ was found
  std::string found() const;
  std::string subject() const;
  bool has_room(std::size_t& used, std::size_t most, std::size_t more, std::string_view what);

  DbcFile file_;
  DbcLexer lexer_;
  DbcToken token_;
  DbcIndex index_;
  std::uint32_t end_line_ = 1, end_column_ = 1;  // where the token before token_ ended
  std::uint32_t statement_line_ = 1;
  const char* end_of_text_;
  std::string_view form_;  // how the statement is written, for remedies
  bool skipping_ = false;  // the statement is given up: nothing more is told about it
  bool unclosed_ = false;  // the statement has a string without closing quote
  bool any_statement_ = false;

  // The subject of problems: a message or its identifier, and a name within it; or a name alone.
  const DbcMessage* subject_message_ = nullptr;
  std::optional<DbcKey> subject_key_;
  std::string_view subject_name_;

  std::size_t current_ = kNone;     // the message that SG_ lines belong to
  bool drop_signals_ = false;       // that message was left out, and this was told
  std::string_view last_key_text_;  // the identifier that take_key() read last, and what it made of it
  DbcKey last_key_ = 0;
  std::unordered_set<DbcKey> dropped_messages_;
  std::set<std::pair<DbcKey, std::string>> dropped_signals_;
  std::set<std::string, std::less<>> unknown_keywords_, undefined_attributes_;
  std::unordered_map<std::string, std::vector<CodeName>> tables_;
  std::vector<CodeName> codes_;  // of the statement being read
  std::string name_;
  std::size_t stray_ = 0;

  struct Default {
    DbcToken at;
    AttributeValue value;
  };
  std::vector<Default> defaults_;
  std::unordered_map<std::string, std::size_t> definitions_[5];  // by Of
  std::size_t last_definition_ = kNone;

  std::size_t signals_ = 0, attributes_ = 0, codes_used_ = 0, copied_ = 0;
  std::set<std::string_view> full_;  // caps that were told
};

/// The identifier as a file writes it; none if it is no identifier. `unflagged`: 29 bits, but bit 31 is not
/// set.
std::optional<DbcKey> dbc_key_of(std::uint64_t written, bool& unflagged);
inline constexpr std::uint64_t kDbcPlaceholderId = 0xC000'0000;  // of VECTOR__INDEPENDENT_SIG_MSG

/// Decimal or 0x..; a plus sign is allowed.
std::optional<std::uint64_t> parse_dbc_unsigned(std::string_view text);
/// As a DBC file writes numbers, hexadecimal ones too.
std::optional<Decimal> parse_dbc_decimal(std::string_view text);

}  // namespace tramlog
