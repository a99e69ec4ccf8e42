// CM_, VAL_, VAL_TABLE_, and what statements about a message or signal have in common.
#include <fmt/format.h>

#include <algorithm>
#include <numeric>

#include "schema/dbc_limits.hpp"
#include "schema/dbc_parser.hpp"
#include "schema/dbc_problems.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kCommentForm = "write it as CM_ SG_ 2566853886 Signal \"text\";";
constexpr std::string_view kValuesForm = "write it as VAL_ 2566853886 Signal 0 \"off\" 1 \"on\";";
constexpr std::string_view kTableForm = "write it as VAL_TABLE_ Name 0 \"off\" 1 \"on\";";

std::optional<std::int64_t> parse_code(std::string_view text) {
  const bool negative = text.starts_with('-');
  const auto magnitude = parse_dbc_unsigned(negative ? text.substr(1) : text);
  if (magnitude) {
    if (*magnitude > static_cast<std::uint64_t>(INT64_MAX)) return std::nullopt;
    return negative ? -static_cast<std::int64_t>(*magnitude) : static_cast<std::int64_t>(*magnitude);
  }
  // "1.0" is a whole number, too.
  const auto decimal = parse_decimal(text);
  if (!decimal || decimal->exponent < 0 || decimal->exponent > 18) return std::nullopt;
  std::int64_t value = decimal->digits;
  for (int i = 0; i < decimal->exponent; ++i)
    if (__builtin_mul_overflow(value, std::int64_t{10}, &value)) return std::nullopt;
  return value;
}

// Whether codes rise or fall all the way, as they mostly do: then none is there twice.
class CodeOrder {
 public:
  void add(std::int64_t code) {
    if (any_) {
      rises_ = rises_ && last_ < code;
      falls_ = falls_ && code < last_;
    }
    any_ = true;
    last_ = code;
  }
  bool is_strict() const { return rises_ || falls_; }

 private:
  std::int64_t last_ = 0;
  bool any_ = false, rises_ = true, falls_ = true;
};

}  // namespace

std::optional<DbcKey> DbcParser::take_key() {
  const Spot at = here();
  const std::string_view text = token_.text;
  if (token_.kind == DbcToken::Kind::number && text == last_key_text_) {  // as in the statement before
    advance();
    return last_key_;
  }
  const auto written = take_unsigned("a message's identifier");
  if (!written || *written == kDbcPlaceholderId) return std::nullopt;
  bool unflagged = false;
  const auto key = dbc_key_of(*written, unflagged);
  if (!key)
    problem(Severity::error, at.line, at.column, fmt::format("{} is no identifier", quoted_piece(text)),
            "write the identifier as in the BO_ of the message");
  if (key) {
    last_key_text_ = text;
    last_key_ = *key;
  }
  return key;
}

DbcMessage* DbcParser::find_message(DbcKey key, Spot at) {
  subject_key_ = key;
  DbcMessage* const message = index_.message(key);
  subject_message_ = message;
  if (message == nullptr && !dropped_messages_.contains(key))
    problem(Severity::warning, at.line, at.column, "the file has no message (BO_) with this identifier",
            "correct the identifier, or remove the statement");
  return message;
}

DbcSignal* DbcParser::take_signal() {
  const Spot at = here();
  const auto key = take_key();
  if (!key) return nullptr;
  const DbcMessage* const message = find_message(*key, at);
  if (message == nullptr) return nullptr;
  if (!at_name()) {
    expected("a signal's name");
    return nullptr;
  }
  subject_name_ = token_.text;
  std::string_view name = token_.text;
  if (!token_.plain) name = name_ = token_.value();
  DbcMessage* owner = nullptr;
  DbcSignal* const signal = index_.signal(*key, name, owner);
  if (signal != nullptr)
    subject_message_ = owner;
  else if (dropped_signals_.empty() || !dropped_signals_.contains({*key, std::string(name)}))
    problem(Severity::warning, token_, "the message has no signal of this name",
            "correct the name, or remove the statement");
  advance();
  return signal;
}

bool DbcParser::take_target(Target& target) {
  using Of = AttributeDefinition::Of;
  if (token_.kind != DbcToken::Kind::word) return true;
  const std::string_view word = token_.text;
  if (word == "SG_") {
    target.of = Of::signal;
    advance();
    target.signal = take_signal();
    return target.signal != nullptr;
  }
  if (word == "BO_") {
    target.of = Of::message;
    advance();
    const Spot at = here();
    const auto key = take_key();
    if (key) target.message = find_message(*key, at);
    return target.message != nullptr;
  }
  if (word != "BU_" && word != "EV_") return true;
  target.of = word == "BU_" ? Of::node : Of::environment;
  advance();
  return take_name(name_, "a name");
}

void DbcParser::read_comment() {
  using Of = AttributeDefinition::Of;
  form_ = kCommentForm;
  Target target;
  if (!take_target(target)) return skip_statement();
  std::string ignored;
  std::string& comment = target.of == Of::signal    ? target.signal->comment
                         : target.of == Of::message ? target.message->comment
                         : target.of == Of::network ? file_.comment
                                                    : ignored;
  const bool replaces = !comment.empty() && &comment != &ignored;
  if (!take_text(comment, "the comment in quotes")) return skip_statement();
  if (replaces)
    problem(Severity::warning, statement_line_, 0,
            fmt::format("this comment replaces an earlier one of the same {}",
                        target.of == Of::signal    ? "signal"
                        : target.of == Of::message ? "message"
                                                   : "file"),
            "leave out one of them, or make one of both");
  finish_statement();
}

// Pairs of a code and its name up to the end of the statement, into codes_. What is understood stays.
void DbcParser::read_codes() {
  codes_.clear();
  CodeOrder order;
  while (!at_end()) {
    std::optional<std::int64_t> code;
    if (token_.kind == DbcToken::Kind::number) code = parse_code(token_.text);
    if (!code) {
      expected("a code (a whole number of at most 64 bits) or ';'");
      return skip_statement();
    }
    advance();
    if (token_.kind != DbcToken::Kind::string) {
      expected("the code's name in quotes");
      return skip_statement();
    }
    if (!has_room(codes_used_, kMaxDbcCodes, 1, "codes")) return skip_statement();
    CodeName& named = codes_.emplace_back();
    named.code = *code;
    order.add(*code);
    take_text(named.text, "the code's name in quotes");
  }
  if (!order.is_strict()) keep_last_of_equal_codes();
  finish_statement();
}

void DbcParser::keep_last_of_equal_codes() {
  std::vector<std::size_t> by_code(codes_.size());
  std::iota(by_code.begin(), by_code.end(), std::size_t{0});
  std::stable_sort(by_code.begin(), by_code.end(),
                   [&](std::size_t a, std::size_t b) { return codes_[a].code < codes_[b].code; });
  std::vector<char> replaced(codes_.size(), 0);
  std::size_t count = 0, first = codes_.size(), counts = 0;
  for (std::size_t i = 1; i < by_code.size(); ++i) {
    const std::size_t earlier = by_code[i - 1];
    if (codes_[earlier].code != codes_[by_code[i]].code) continue;
    replaced[earlier] = 1;
    ++count;
    if (earlier > first) continue;
    first = earlier;
    counts = by_code[i];
  }
  if (count == 0) return;
  problem(Severity::warning, statement_line_, 0,
          fmt::format("the code {} stands here twice, \"{}\" and \"{}\": the later name counts{}",
                      codes_[first].code, quoted_piece(codes_[first].text), quoted_piece(codes_[counts].text),
                      count > 1 ? fmt::format("; so do {} more", count - 1) : ""),
          "leave out one of them");
  std::size_t kept = 0;
  for (std::size_t i = 0; i < codes_.size(); ++i) {
    if (replaced[i] != 0) continue;
    if (kept != i) codes_[kept] = std::move(codes_[i]);
    ++kept;
  }
  codes_.resize(kept);
}

void DbcParser::tell_replaced_codes() {
  problem(Severity::warning, statement_line_, 0, "this VAL_ replaces an earlier one of the same signal",
          "leave out one of them, or make one of both");
}

void DbcParser::read_values() {
  form_ = kValuesForm;
  if (at_name()) return skip_statement(false);  // of an environment variable
  DbcSignal* const signal = take_signal();
  if (signal == nullptr) return skip_statement();
  if (!signal->codes.empty()) tell_replaced_codes();
  if (at_name()) return use_value_table(*signal);
  read_codes();
  signal->codes.assign(std::make_move_iterator(codes_.begin()), std::make_move_iterator(codes_.end()));
}

void DbcParser::use_value_table(DbcSignal& signal) {
  const auto table = tables_.find(token_.value());
  if (table == tables_.end()) {
    problem(Severity::warning, token_,
            fmt::format("the file has no value table \"{}\" before this line", quoted_piece(token_.value())),
            "define it with VAL_TABLE_, or write codes and names here");
    return skip_statement();
  }
  std::size_t bytes = 0;
  for (const CodeName& named : table->second) bytes += named.text.size();
  if (has_room(codes_used_, kMaxDbcCodes, table->second.size(), "codes") &&
      has_room(copied_, kMaxDbcCopiedBytes, bytes, "bytes of repeated texts"))
    signal.codes = table->second;
  advance();
  finish_statement();
}

void DbcParser::read_value_table() {
  form_ = kTableForm;
  std::string name;
  if (!take_name(name, "the table's name") || !has_room(codes_used_, kMaxDbcCodes, 1, "codes"))
    return skip_statement();
  read_codes();
  std::vector<CodeName>& table = tables_[std::move(name)];
  table.assign(std::make_move_iterator(codes_.begin()), std::make_move_iterator(codes_.end()));
}

}  // namespace tramlog
