// From the plain data of a DBC message to something that reads messages.
#include "schema/message_spec.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <unordered_map>

#include "schema/dbc_limits.hpp"
#include "schema/schema.hpp"

namespace tramlog {
namespace {

using Of = AttributeDefinition::Of;
constexpr Pgn kDataPage1 = 1U << 16;  // of a PGN: NMEA 2000 (fact sheet, signals, 0)

std::string_view text_of(const AttributeValue* value) {
  return value == nullptr ? std::string_view{} : std::string_view{value->text};
}

std::optional<double> number_of(const AttributeValue* value) {
  if (value == nullptr || !value->number) return std::nullopt;
  return value->number->to_double();
}

std::string title_of(const std::string& comment, const std::string& name) {
  std::string_view text = comment;
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.front())) != 0) text.remove_prefix(1);
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool line_end = text[i] == '\n' || text[i] == '\r';
    const bool stop = text[i] == '.' && (i + 1 == text.size() || text[i + 1] == ' ' || text[i + 1] == '\n' ||
                                         text[i + 1] == '\r');
    if (line_end || stop) {
      text = text.substr(0, i);
      break;
    }
  }
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.back())) != 0) text.remove_suffix(1);
  return text.empty() ? name : std::string(text);
}

CodeRule rule_of(std::string_view attribute, const MessageSpec& message) {
  if (attribute == "iso11783") return CodeRule::iso11783;
  if (attribute == "nmea2000") return CodeRule::nmea2000;
  if (attribute == "none" || message.exact_only) return CodeRule::none;
  return (message.pgn & kDataPage1) != 0 ? CodeRule::nmea2000 : CodeRule::iso11783;
}

Sending sending_of(std::string_view attribute, SpanNs period) {
  if (attribute == "cyclic") return Sending::cyclic;
  if (attribute == "while-active") return Sending::while_active;
  if (attribute == "on-change") return Sending::on_change;
  if (attribute == "on-request") return Sending::on_request;
  return period > 0 ? Sending::cyclic : Sending::unknown;
}

// Of the first byte that holds a bit, the lowest bit that it holds: 8 x byte + bit.
std::uint64_t place_of(const DbcSignal& signal) {
  if (signal.order == ByteOrder::little) return signal.start_bit;
  const std::uint64_t bit = signal.start_bit % 8;
  const std::uint64_t below = std::min<std::uint64_t>(bit, signal.bit_length - 1U);
  return signal.start_bit - below;
}

bool is_chosen_by_another(const DbcSignal& signal) {
  return signal.multiplex_code.has_value() || !signal.multiplex_ranges.empty();
}

bool has_readable_bits(const DbcSignal& signal) {
  return signal.bit_length > 0 && signal.bit_length <= 64;
}

// Multiplexors before what they choose. Signals whose chain of multiplexors is broken or a circle are left
// out; check_dbc() has told.
class Arrangement {
 public:
  explicit Arrangement(const std::vector<DbcSignal>& signals) : signals_(signals), state_(signals.size()) {
    for (std::size_t i = 0; i < signals.size(); ++i) {
      by_name_.emplace(signals[i].name, i);
      if (plain_ < 0 && signals[i].is_multiplexor && !is_chosen_by_another(signals[i]))
        plain_ = static_cast<std::int64_t>(i);
    }
    std::vector<std::size_t> by_place(signals.size());
    for (std::size_t i = 0; i < signals.size(); ++i) by_place[i] = i;
    std::stable_sort(by_place.begin(), by_place.end(), [&](std::size_t a, std::size_t b) {
      return place_of(signals[a]) < place_of(signals[b]);
    });
    for (const std::size_t i : by_place) put(i);
  }

  const std::vector<std::size_t>& order() const { return order_; }
  /// Index in `signals` of the multiplexor, -1 if there is none.
  std::int64_t multiplexor_of(std::size_t i) const {
    const DbcSignal& signal = signals_[i];
    if (!is_chosen_by_another(signal)) return -1;
    if (signal.multiplexor.empty()) return plain_;
    const auto found = by_name_.find(signal.multiplexor);
    return found == by_name_.end() ? -1 : static_cast<std::int64_t>(found->second);
  }

 private:
  enum class State : std::uint8_t { waiting, on_the_way, placed, dropped };

  void put(std::size_t wanted) {
    // Walks up to the first multiplexor that is settled, then settles them from there down.
    std::vector<std::size_t> chain;
    bool dropped = false;
    for (std::size_t i = wanted;;) {
      if (state_[i] == State::placed) break;
      const DbcSignal& signal = signals_[i];
      dropped = state_[i] != State::waiting || !has_readable_bits(signal);
      if (state_[i] == State::waiting) {
        state_[i] = State::on_the_way;
        chain.push_back(i);
      }
      if (dropped || !is_chosen_by_another(signal)) break;
      const std::int64_t up = multiplexor_of(i);
      dropped = up < 0;
      if (dropped) break;
      i = static_cast<std::size_t>(up);
    }
    for (auto i = chain.rbegin(); i != chain.rend(); ++i) {
      state_[*i] = dropped ? State::dropped : State::placed;
      if (!dropped) order_.push_back(*i);
    }
  }

  const std::vector<DbcSignal>& signals_;
  std::unordered_map<std::string_view, std::size_t> by_name_;
  std::int64_t plain_ = -1;
  std::vector<State> state_;
  std::vector<std::size_t> order_;
};

SignalSpec make_signal(DbcSignal&& from, CodeRule rule, const DbcFile& file) {
  const auto attribute = [&](std::string_view name) {
    return file.attribute(from.attributes, Of::signal, name);
  };
  SignalSpec signal;
  signal.all_valid = text_of(attribute("Codes")) == "all-valid";
  signal.command = text_of(attribute("Purpose")) == "command";
  if (const auto spn = number_of(attribute("SPN"));
      spn && *spn >= 1 && *spn <= kMaxDbcSpn && *spn == std::floor(*spn))
    signal.spn = static_cast<std::uint32_t>(*spn);
  signal.title = title_of(from.comment, from.name);
  signal.name = std::move(from.name);
  signal.comment = std::move(from.comment);
  signal.unit = std::move(from.unit);
  signal.start_bit = from.start_bit;
  signal.bit_length = from.bit_length;
  signal.order = from.order;
  signal.encoding = from.encoding;
  signal.factor = from.factor;
  signal.offset = from.offset;
  signal.minimum = from.minimum;
  signal.maximum = from.maximum;
  signal.codes = std::move(from.codes);
  std::stable_sort(signal.codes.begin(), signal.codes.end(),
                   [](const CodeName& a, const CodeName& b) { return a.code < b.code; });
  signal.rule = rule;
  signal.characters = signal.unit == "ASCII";
  signal.line = from.line;
  return signal;
}

}  // namespace

bool is_exact_only(const DbcMessage& message, const DbcFile& file) {
  if (!message.extended) return true;
  const std::string_view format = text_of(file.attribute(message.attributes, Of::message, "VFrameFormat"));
  return format.starts_with("StandardCAN") || format.starts_with("ExtendedCAN");
}

std::size_t count_readable_signals(const DbcMessage& message) {
  const auto is_simple = [](const DbcSignal& signal) {
    return !is_chosen_by_another(signal) && has_readable_bits(signal);
  };
  if (std::all_of(message.signals.begin(), message.signals.end(), is_simple)) return message.signals.size();
  return Arrangement(message.signals).order().size();
}

MessageSpec make_message_spec(DbcMessage&& from, const DbcFile& file) {
  const auto attribute = [&](std::string_view name) {
    return file.attribute(from.attributes, Of::message, name);
  };
  MessageSpec message;
  message.id = from.id;
  message.extended = from.extended;
  message.pgn = from.extended ? pgn_of(from.id) : 0;
  message.exact_only = is_exact_only(from, file);
  if (const auto period = number_of(attribute("GenMsgCycleTime"));
      period && *period >= kMinDbcPeriodMs && *period <= kMaxDbcPeriodMs)
    message.period = static_cast<SpanNs>(*period * static_cast<double>(kMillisecond));
  message.sending = sending_of(text_of(attribute("Sending")), message.period);
  const CodeRule rule = rule_of(text_of(attribute("Rule")), message);
  message.title = title_of(from.comment, from.name);
  message.name = std::move(from.name);
  message.comment = std::move(from.comment);
  message.sender = std::move(from.sender);
  message.length = from.length;
  message.line = from.line;

  const Arrangement arrangement(from.signals);
  std::vector<std::int32_t> new_index(from.signals.size(), -1);
  std::vector<std::int32_t> multiplexors;
  for (const std::size_t i : arrangement.order()) {
    const std::int64_t up = arrangement.multiplexor_of(i);
    multiplexors.push_back(up < 0 ? -1 : new_index[static_cast<std::size_t>(up)]);
    new_index[i] = static_cast<std::int32_t>(multiplexors.size() - 1);
  }
  message.signals.reserve(multiplexors.size());
  for (const std::size_t i : arrangement.order()) {
    DbcSignal& source = from.signals[i];
    const std::int32_t multiplexor = multiplexors[message.signals.size()];
    std::vector<RawRange> present_for = std::move(source.multiplex_ranges);
    if (present_for.empty() && source.multiplex_code)
      present_for.push_back({*source.multiplex_code, *source.multiplex_code});
    SignalSpec& signal = message.signals.emplace_back(make_signal(std::move(source), rule, file));
    signal.multiplexor = multiplexor;
    if (multiplexor >= 0) signal.present_for = std::move(present_for);
    message.multiplexed = message.multiplexed || multiplexor >= 0;
    compile_plan(signal, message.length);
  }
  return message;
}

}  // namespace tramlog
