// BO_, SG_, SG_MUL_VAL_, SIG_VALTYPE_.
#include <fmt/format.h>

#include <algorithm>

#include "schema/dbc_limits.hpp"
#include "schema/dbc_parser.hpp"
#include "schema/dbc_problems.hpp"
#include "schema/dbc_usual_signal.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kMessageForm = "write it as BO_ 2566853886 Name: 8 Sender";
constexpr std::string_view kSignalForm =
    "write it as SG_ Name : 0|8@1+ (1,0) [0|255] \"unit\" Receiver; the signal is left out";
constexpr std::string_view kMultiplexForm = "write it as SG_MUL_VAL_ 2566853886 Signal Multiplexor 0-3, 8-8;";
constexpr std::string_view kValueTypeForm = "write it as SIG_VALTYPE_ 2566853886 Signal : 1;";
constexpr std::string_view kNobody = "Vector__XXX";
constexpr std::string_view kPlaceholderName = "VECTOR__INDEPENDENT_SIG_MSG";
constexpr std::size_t kMaxDropped = 10'000;  // remembered, so that what refers to them is not told as well
constexpr std::uint64_t kMaxBits = 64;

}  // namespace

void DbcParser::read_message() {
  form_ = kMessageForm;
  current_ = kNone;
  drop_signals_ = true;
  const DbcToken at = token_;
  const auto written = take_unsigned("the message's identifier, a decimal number,");
  if (!written) return skip_statement();
  if (*written == kDbcPlaceholderId) return skip_statement(false);
  bool unflagged = false;
  const auto key = dbc_key_of(*written, unflagged);
  if (!key) {
    if (at_name()) subject_name_ = token_.text;
    problem(Severity::error, at, fmt::format("{} is no identifier", quoted_piece(at.text)),
            "write 0 to 2047 for 11 bits, or 2147483648 plus the identifier for 29 bits; the message is left "
            "out");
    return skip_statement();
  }
  subject_key_ = key;
  const auto drop = [&] {
    if (dropped_messages_.size() < kMaxDropped) dropped_messages_.insert(*key);
    skip_statement();
  };
  DbcMessage message;
  if (!take_name(message.name, "the message's name")) return drop();
  if (message.name == kPlaceholderName) return skip_statement(false);
  subject_key_.reset();
  if (!take(':')) return drop();
  const DbcToken at_length = token_;
  const auto length = take_unsigned("the length in bytes");
  if (!length) return drop();
  if (file_.messages.size() >= kMaxDbcMessages) {
    std::size_t used = kMaxDbcMessages;
    has_room(used, kMaxDbcMessages, 1, "messages");
    return drop();
  }
  if (unflagged)
    problem(
        Severity::warning, at,
        fmt::format("the identifier {} has more than 11 bits, but bit 31, which marks 29-bit identifiers, is "
                    "not set; it is taken as a 29-bit identifier",
                    *written),
        fmt::format("write {}", *written + kDbcExtendedBit));
  if (*length > kMaxDbcMessageBytes)
    problem(Severity::error, at_length,
            fmt::format("the length is {} bytes, no message has more than {}", *length, kMaxDbcMessageBytes),
            "correct the length; the longest possible is taken");
  message.id = *key & ~kDbcExtendedBit;
  message.extended = (*key & kDbcExtendedBit) != 0;
  message.length = static_cast<std::uint32_t>(std::min<std::uint64_t>(*length, kMaxDbcMessageBytes));
  message.line = statement_line_;
  if (at_name()) {
    if (token_.text != kNobody) message.sender = token_.value();
    advance();
  }
  if (!at_end()) {
    expected("the end of the statement", Severity::warning);
    skip_statement();
  }
  current_ = file_.messages.size();
  drop_signals_ = false;
  file_.messages.push_back(std::move(message));
}

void DbcParser::read_signal() {
  form_ = kSignalForm;
  if (current_ == kNone) {
    if (!drop_signals_ && take_name(name_, "the signal's name"))
      problem(Severity::error, statement_line_, 0, "the signal belongs to no message: no BO_ is before it",
              "put it below the BO_ of its message");
    return skip_statement();
  }
  DbcMessage& message = file_.messages[current_];
  subject_message_ = &message;
  if (!has_room(signals_, kMaxDbcSignals, 1, "signals")) return skip_statement();
  if (message.signals.empty()) {
    // As many as the last message had is a good guess, and all guesses together stay within the number of
    // signals.
    constexpr std::size_t kFewest = 4;
    const std::size_t last = current_ == 0 ? 0 : file_.messages[current_ - 1].signals.size();
    message.signals.reserve(std::max(kFewest, last));
  }
  DbcSignal& signal = message.signals.emplace_back();
  signal.line = statement_line_;
  const bool named = take_name(signal.name, "the signal's name") && read_multiplexing(signal);
  if (named && read_usual_form(signal)) return read_receivers();
  if (!named || !take(':') || !read_bits(signal) || !read_scaling(signal)) {
    if (dropped_signals_.size() < kMaxDropped) {
      const DbcKey key = message.extended ? message.id | kDbcExtendedBit : message.id;
      dropped_signals_.emplace(key, std::move(signal.name));
    }
    message.signals.pop_back();
    --signals_;
    return skip_statement();
  }
  read_range(signal);
  if (token_.kind == DbcToken::Kind::string && token_.closed) {
    take_text(signal.unit, "the unit");
  } else if (!unclosed_) {
    form_ = "put the unit in quotes, \"\" for none";
    expected("the unit in quotes", Severity::warning);
  }
  read_receivers();
}

// M, m3 or m3M between the name and the colon.
bool DbcParser::read_multiplexing(DbcSignal& signal) {
  if (token_.is(':')) return true;
  std::string_view word = token_.kind == DbcToken::Kind::word ? token_.text : std::string_view{};
  if (word.ends_with('M')) {
    signal.is_multiplexor = true;
    word.remove_suffix(1);
  }
  if (word.starts_with('m')) signal.multiplex_code = parse_dbc_unsigned(word.substr(1));
  const bool understood = word.empty() ? signal.is_multiplexor : signal.multiplex_code.has_value();
  if (!understood) {
    expected("':', or M, m0, m0M");
    return false;
  }
  advance();
  return true;
}

// From the colon to the unit.
bool DbcParser::read_usual_form(DbcSignal& signal) {
  if (!token_.is(':')) return false;
  const char* const behind = read_usual_signal(lexer_.rest(), end_of_text_, signal);
  if (behind == nullptr) return false;
  lexer_.skip_to(behind);
  advance();
  return true;
}

bool DbcParser::read_bits(DbcSignal& signal) {
  const DbcToken at = token_;
  const auto start = take_unsigned("the start bit");
  if (!start || !take('|')) return false;
  const DbcToken at_length = token_;
  const auto length = take_unsigned("the length in bits");
  if (!length) return false;
  if (*start > UINT32_MAX) {
    problem(Severity::error, at, fmt::format("the start bit {} is beyond every message", *start),
            "correct the start bit; the signal is left out");
    return false;
  }
  if (*length == 0 || *length > kMaxBits) {
    problem(Severity::error, at_length, fmt::format("the length is {} bits, 1 to 64 are possible", *length),
            "correct the length; the signal is left out");
    return false;
  }
  signal.start_bit = static_cast<std::uint32_t>(*start);
  signal.bit_length = static_cast<std::uint16_t>(*length);
  if (!take('@')) return false;
  if (token_.kind != DbcToken::Kind::number || (token_.text != "0" && token_.text != "1")) {
    expected("0 (Motorola) or 1 (Intel)");
    return false;
  }
  signal.order = token_.text == "1" ? ByteOrder::little : ByteOrder::big;
  advance();
  if (!token_.is('+') && !token_.is('-')) {
    expected("+ (unsigned) or - (signed)");
    return false;
  }
  if (token_.is('-')) signal.encoding = Encoding::signed_integer;
  advance();
  return true;
}

bool DbcParser::read_scaling(DbcSignal& signal) {
  if (!take('(')) return false;
  const auto factor = take_decimal("the factor");
  if (!factor || !take(',')) return false;
  const auto offset = take_decimal("the offset");
  if (!offset || !take(')')) return false;
  signal.factor = *factor;
  signal.offset = *offset;
  return true;
}

// A range that cannot be read is no reason to lose the signal.
void DbcParser::read_range(DbcSignal& signal) {
  form_ = "write it as [0|255], or [0|0] for none; the signal is used without a range";
  const DbcToken at = token_;
  if (!token_.is('[')) return expected("the range", Severity::warning);
  advance();
  std::optional<Decimal> minimum, maximum;
  if (token_.kind == DbcToken::Kind::number) minimum = parse_dbc_decimal(token_.text);
  if (minimum) advance();
  const bool bar = minimum && token_.is('|');
  if (bar) advance();
  if (bar && token_.kind == DbcToken::Kind::number) maximum = parse_dbc_decimal(token_.text);
  if (maximum) advance();
  if (!maximum || !token_.is(']')) {
    expected(!minimum ? "the minimum" : !bar ? "'|'" : !maximum ? "the maximum" : "']'", Severity::warning);
    while (!at_end() && !token_.is(']') && token_.kind != DbcToken::Kind::string) advance();
    if (token_.is(']')) advance();
    return;
  }
  advance();
  if (minimum->digits == 0 && maximum->digits == 0) return;
  if (minimum->to_double() > maximum->to_double()) {
    problem(Severity::warning, at,
            fmt::format("the range [{}|{}] is upside down", minimum->to_string(), maximum->to_string()),
            "write the smaller number first; the signal is used without a range");
    return;
  }
  signal.minimum = minimum;
  signal.maximum = maximum;
}

// Receivers are of no use here. Their list ends with the line, unless that ends with a comma.
void DbcParser::read_receivers() {
  bool more = false;
  while (!at_end()) {
    if (token_.first_on_line && !more) break;
    if (token_.kind == DbcToken::Kind::word && (token_.text == "SG_" || token_.text == "BO_")) break;
    more = token_.is(',');
    advance();
  }
}

void DbcParser::read_multiplex_ranges() {
  form_ = kMultiplexForm;
  DbcSignal* const signal = take_signal();
  if (signal == nullptr) return skip_statement();
  const std::string_view subject_name = subject_name_;
  std::string multiplexor;
  const bool named = take_name(multiplexor, "the multiplexor's name");
  subject_name_ = subject_name;
  if (!named) return skip_statement();
  std::vector<RawRange> ranges;
  bool any_told = false;
  while (!at_end()) {
    const DbcToken at = token_;
    const auto first = take_unsigned("the first value of a range");
    if (!first) {
      any_told = true;
      break;
    }
    RawRange range{*first, *first};
    // "0-3" comes as 0 and -3, "0 - 3" as three tokens.
    std::string_view last;
    if (token_.is('-'))
      advance();
    else if (token_.kind == DbcToken::Kind::number && token_.text.starts_with('-'))
      last = token_.text.substr(1);
    if (last.empty() && token_.kind == DbcToken::Kind::number) last = token_.text;
    if (!last.empty()) {
      const auto value = parse_dbc_unsigned(last);
      if (!value) {
        expected("the last value of a range");
        any_told = true;
        break;
      }
      range.last = *value;
      advance();
    }
    const bool upside_down = range.last < range.first;
    any_told = any_told || upside_down;
    if (upside_down)
      problem(Severity::error, at, fmt::format("the range {}-{} is upside down", range.first, range.last),
              "write the smaller number first; the range is left out");
    else if (has_room(codes_used_, kMaxDbcCodes, 1, "codes"))
      ranges.push_back(range);
    if (token_.is(','))
      advance();
    else
      break;
  }
  if (!ranges.empty()) {
    if (signal->multiplexor != multiplexor) signal->multiplex_ranges.clear();
    signal->multiplexor = std::move(multiplexor);
    signal->multiplex_ranges.insert(signal->multiplex_ranges.end(), ranges.begin(), ranges.end());
    signal->multiplex_code.reset();
  }
  if (ranges.empty() && at_end() && !any_told) expected("a range of values such as 0-3");
  finish_statement();
}

void DbcParser::read_value_type() {
  form_ = kValueTypeForm;
  DbcSignal* const signal = take_signal();
  if (signal == nullptr) return skip_statement();
  if (token_.is(':')) advance();
  const DbcToken at = token_;
  const auto type = take_unsigned("0 (integer), 1 (float of 32 bits) or 2 (float of 64 bits)");
  if (!type) return skip_statement();
  if (*type == 1) signal->encoding = Encoding::float32;
  if (*type == 2) signal->encoding = Encoding::float64;
  if (*type > 2)
    problem(
        Severity::error, at,
        fmt::format("{} is no type: 0 (integer), 1 (float of 32 bits) or 2 (float of 64 bits) is expected",
                    *type),
        "correct the type; the signal is read as an integer");
  finish_statement();
}

}  // namespace tramlog
