#include "decode/json_lines.hpp"

#include <algorithm>
#include <string>
#include <unordered_map>
#include <vector>

#include "base/text.hpp"
#include "decode/json_pieces.hpp"
#include "decode/words.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kSmall = 512;             // room for the fixed keys and numbers of a line
constexpr std::size_t kStateChars = 96;         // ,"state":"..","raw":..
constexpr std::size_t kKeptSignals = 8 * 1024;  // longest list that is kept for its repetition
constexpr std::size_t kKeptTotal = 32 * 1024 * 1024;
constexpr unsigned kShortBits = 8;  // signals of so few bits keep a text for each of their values
constexpr std::size_t kShortTotal = 16 * 1024 * 1024;
constexpr std::size_t kHexPiece = 16 * 1024;

/// Text of one signal that stays the same.
struct SignalText {
  std::string head;  // {"name":"WheelBasedSpeed","value":
  std::string tail;  // ,"unit":"m/s"
  std::optional<UnitConversion> conversion;
  double resolution = 1;
  std::size_t most = 0;            // longest text of the whole signal
  std::vector<std::string> whole;  // by raw value: all of it, if the signal is short; empty: not made yet
};

struct MessageText {
  std::string name;  // in quotes
  std::vector<SignalText> signals;
  std::size_t most = 0;  // longest list of signals
};

/// What is kept of a Talk.
struct TalkText {
  std::uint32_t generation = 0;
  std::uint16_t priority = 0xFFFF;  // of the head; none yet
  std::string head;                 // "bus": .. "signals":[
  MessageText* message = nullptr;
  std::uint64_t payload = 0;  // of the kept signals, 8 bytes
  std::string signals;        // their text; empty: none
};

class JsonLines final : public DecodeSink {
 public:
  JsonLines(OutputBuffer& out, const JsonLinesOptions& options) : out_(out), options_(options) {}

  void on_message(const DecodedMessage& message) override;
  void on_broken_transfer(const TransferEnd& end, const Talk& talk, TimeNs now) override;
  void on_event(const Event& event) override;
  void on_bus(const Event& announcement) override;

 private:
  TalkText& text_of(const DecodedMessage& message);
  void make_head(TalkText& text, const DecodedMessage& message);
  MessageText* text_of(const MessageSpec& spec);
  const std::string& text_of_code(const std::string* code);
  const std::string& bus_name(BusIndex bus);
  char* put_signals(char* at, MessageText& text, const DecodedMessage& message);
  char* put_reading(char* at, SignalText& text, const Reading& reading);
  char* make_reading(char* at, const SignalText& text, const Reading& reading);
  void add_signals(TalkText& text, const DecodedMessage& message);
  void add_remarks(const DecodedMessage& message);
  void add_string(std::string_view text);
  void add_data(Bytes data);

  OutputBuffer& out_;
  JsonLinesOptions options_;
  TimeText times_;
  std::vector<TalkText> talks_;
  std::unordered_map<const MessageSpec*, std::unique_ptr<MessageText>> messages_;
  std::unordered_map<const std::string*, std::string> codes_;  // in quotes
  std::vector<std::string> buses_;                             // in quotes
  std::size_t kept_ = 0;                                       // bytes of all TalkText::signals
  std::size_t short_ = 0;                                      // bytes of all SignalText::whole
};

void JsonLines::on_bus(const Event& announcement) {
  if (announcement.kind != EventKind::notice) return;
  const auto* info = std::get_if<BusInfo>(announcement.notice);
  if (info == nullptr) return;
  if (buses_.size() <= announcement.bus) buses_.resize(std::size_t{announcement.bus} + 1);
  buses_[announcement.bus] = json_string(info->name);
}

const std::string& JsonLines::bus_name(BusIndex bus) {
  if (buses_.size() <= bus) buses_.resize(std::size_t{bus} + 1);
  if (buses_[bus].empty()) buses_[bus] = "\"bus" + std::to_string(bus) + "\"";
  return buses_[bus];
}

const std::string& JsonLines::text_of_code(const std::string* code) {
  std::string& text = codes_[code];
  if (text.empty()) text = json_string(*code);
  return text;
}

MessageText* JsonLines::text_of(const MessageSpec& spec) {
  std::unique_ptr<MessageText>& kept = messages_[&spec];
  if (kept) return kept.get();
  kept = std::make_unique<MessageText>();
  kept->name = json_string(spec.name);
  for (const SignalSpec& signal : spec.signals) {
    SignalText text;
    text.head = "{\"name\":" + json_string(signal.name) + ",\"value\":";
    text.resolution = signal.factor.to_double();
    std::string unit = signal.unit;
    if (options_.units) text.conversion = conversion_of(signal.unit, UnitChoice::all(*options_.units));
    if (text.conversion) unit = text.conversion->unit;
    // The characters are the value; "ASCII" is no unit to anybody else.
    if (!unit.empty() && !signal.characters) text.tail = ",\"unit\":" + json_string(unit);
    std::size_t longest = 64;  // eight characters, each at most \xNN with its backslash doubled
    for (const CodeName& code : signal.codes) longest = std::max(longest, text_of_code(&code.text).size());
    text.most = text.head.size() + text.tail.size() + kNumberChars + longest + kStateChars;
    const std::size_t values = signal.bit_length <= kShortBits ? std::size_t{1} << signal.bit_length : 0;
    if (short_ + values * sizeof(std::string) <= kShortTotal) {
      short_ += values * sizeof(std::string);
      text.whole.resize(values);
    }
    kept->most += text.most;
    kept->signals.push_back(std::move(text));
  }
  return kept.get();
}

void JsonLines::make_head(TalkText& text, const DecodedMessage& message) {
  const Talk& talk = *message.talk;
  text.generation = talk.generation;
  text.priority = message.priority;
  text.message = talk.spec != nullptr ? text_of(*talk.spec) : nullptr;
  kept_ -= text.signals.size();
  text.signals.clear();
  std::string& head = text.head;
  head = ",\"bus\":" + bus_name(talk.from.bus);
  if (!talk.extended) head += ",\"id\":" + std::to_string(talk.id);
  head += ",\"pgn\":" + (talk.extended ? std::to_string(talk.pgn) : "null");
  head += ",\"message\":" + (text.message != nullptr ? text.message->name : "null");
  if (talk.extended) {
    head += ",\"source\":" + std::to_string(talk.from.address);
    head += ",\"name\":" + (talk.from.name ? "\"" + talk.from.name->hex() + "\"" : "null");
    head += ",\"from\":" + json_string(talk.from.words);
    head += ",\"destination\":" + std::to_string(talk.to.address) + ",\"to\":" + json_string(talk.to.words);
    head += ",\"priority\":" + std::to_string(message.priority);
  } else {
    head += ",\"source\":null,\"name\":null,\"from\":null,\"destination\":null,\"to\":null,\"priority\":null";
  }
  head += ",\"signals\":[";
}

inline TalkText& JsonLines::text_of(const DecodedMessage& message) {
  const Talk& talk = *message.talk;
  if (talks_.size() <= talk.slot) [[unlikely]]
    talks_.resize(std::max<std::size_t>(std::size_t{talk.slot} + 1, talks_.size() * 2));
  TalkText& text = talks_[talk.slot];
  if (text.generation != talk.generation || text.priority != message.priority) [[unlikely]]
    make_head(text, message);
  return text;
}

void JsonLines::on_message(const DecodedMessage& message) {
  TalkText& text = text_of(message);
  char* at = out_.room(kSmall);
  at = put(at, "{\"time\":\"");
  at = times_.put(at, message.time);
  at = put(at, "\",\"frame\":");
  at = put_integer(at, message.last_frame);
  if (message.carrier != Carrier::single) {
    at = put(at, ",\"frames\":[");
    at = put_integer(at, message.first_frame);
    *at++ = ',';
    at = put_integer(at, message.last_frame);
    at = put(at, "],\"transfer\":\"");
    at = put(at, protocol_code(message.carrier));
    *at++ = '"';
  }
  constexpr std::uint8_t kTold = kRemote | kFd | kOutbound | kShortData | kUntimed;
  if ((message.flags & kTold) != 0 || message.stray) {
    at = put(at, ",\"flags\":[");
    if (message.stray) at = put(at, "\"stray\",");
    if ((message.flags & kRemote) != 0) at = put(at, "\"remote\",");
    if ((message.flags & kFd) != 0) at = put(at, "\"fd\",");
    if ((message.flags & kShortData) != 0) at = put(at, "\"short\",");
    if ((message.flags & kOutbound) != 0) at = put(at, "\"outbound\",");
    if ((message.flags & kUntimed) != 0) at = put(at, "\"untimed\",");
    at[-1] = ']';
  }
  out_.commit(at);
  out_.append(text.head);
  if (!message.readings.empty() && text.message != nullptr) add_signals(text, message);
  out_.append("]");
  if (!message.remarks.empty()) add_remarks(message);
  const MessageSpec* const spec = message.talk->spec;
  const bool wants_data = options_.data || spec == nullptr || spec->signals.empty();
  if (wants_data && (message.flags & kRemote) == 0) add_data(message.data);
  out_.append("}\n");
}

void JsonLines::add_signals(TalkText& text, const DecodedMessage& message) {
  MessageText& known = *text.message;
  const bool keep = message.data.size() == 8 && known.most < out_.kDefaultSize;
  const std::uint64_t payload = keep ? load_native<std::uint64_t>(message.data.data()) : 0;
  if (keep && !text.signals.empty() && text.payload == payload) {
    out_.append(text.signals);
    return;
  }
  if (!keep) {
    const SignalSpec* first = message.talk->spec->signals.data();
    for (const Reading& reading : message.readings) {
      SignalText& signal = known.signals[static_cast<std::size_t>(reading.signal - first)];
      char* const begin = out_.room(signal.most);
      char* end = put_reading(begin, signal, reading);
      if (&reading == &message.readings.back()) --end;  // its comma
      out_.commit(end);
    }
    return;
  }
  char* const begin = out_.room(known.most);
  char* const end = put_signals(begin, known, message);
  out_.commit(end);
  const auto size = static_cast<std::size_t>(end - begin);
  kept_ -= text.signals.size();
  text.signals.clear();
  if (size <= kKeptSignals && kept_ + size <= kKeptTotal) {
    text.signals.assign(begin, size);
    text.payload = payload;
    kept_ += size;
  }
}

inline char* JsonLines::put_signals(char* at, MessageText& text, const DecodedMessage& message) {
  const SignalSpec* first = message.talk->spec->signals.data();
  for (const Reading& reading : message.readings)
    at = put_reading(at, text.signals[static_cast<std::size_t>(reading.signal - first)], reading);
  return at - 1;  // the last comma
}

/// With a comma behind it.
inline char* JsonLines::put_reading(char* at, SignalText& text, const Reading& reading) {
  if (reading.raw >= text.whole.size() || reading.validity == Validity::cut_off)
    return make_reading(at, text, reading);
  std::string& whole = text.whole[reading.raw];
  if (!whole.empty()) [[likely]]
    return put(at, whole);
  char* const end = make_reading(at, text, reading);
  const auto size = static_cast<std::size_t>(end - at);
  if (short_ + size <= kShortTotal) {
    short_ += size;
    whole.assign(at, size);
  }
  return end;
}

char* JsonLines::make_reading(char* at, const SignalText& text, const Reading& reading) {
  at = put(at, text.head);
  Number converted;
  const Number* value = &reading.value;
  if (text.conversion && reading.has_value()) {
    converted = convert(reading.value, *text.conversion, text.resolution);
    value = &converted;
  }
  if (reading.has_value() && is_finite(*value)) [[likely]]
    at = write_number(at, *value);
  else
    at = put(at, "null");
  at = put(at, text.tail);
  if (reading.text != nullptr) {
    at = put(at, ",\"text\":");
    at = put(at, text_of_code(reading.text));
  } else if (reading.signal->characters && reading.validity == Validity::valid) {
    at = put(at, ",\"text\":");
    at = put(at, json_string(characters_of(reading)));
  }
  if (reading.validity != Validity::valid) {
    at = put(at, ",\"state\":\"");
    at = put(at, validity_code(reading.validity));
    *at++ = '"';
    if (reading.validity == Validity::error || reading.validity == Validity::reserved) {
      at = put(at, ",\"raw\":");
      at = put_integer(at, reading.raw);
    }
  }
  *at++ = '}';
  *at++ = ',';
  return at;
}

void JsonLines::add_remarks(const DecodedMessage& message) {
  out_.append(",\"remarks\":[");
  for (std::size_t i = 0; i < message.remarks.size(); ++i) {
    const Remark& remark = message.remarks[i];
    out_.append(i == 0 ? "{\"name\":" : ",{\"name\":");
    add_string(remark.name);
    out_.append(",\"text\":");
    add_string(remark.text);
    out_.append("}");
  }
  out_.append("]");
}

void JsonLines::add_string(std::string_view text) {
  char* const begin = out_.room(2 * text.size() + 2);
  if (char* const end = put_plain_string(begin, text))
    out_.commit(end);
  else
    out_.append(json_string(text));
}

void JsonLines::add_data(Bytes data) {
  out_.append(",\"data\":\"");
  while (!data.empty()) {
    const Bytes piece = data.first(std::min(data.size(), kHexPiece));
    out_.commit(put_hex(out_.room(2 * piece.size()), piece));
    data = data.subspan(piece.size());
  }
  out_.append("\"");
}

void JsonLines::on_broken_transfer(const TransferEnd& end, const Talk& talk, TimeNs now) {
  char* at = out_.room(kSmall);
  at = put(at, "{\"time\":\"");
  at = times_.put(at, now);
  at = put(at, "\",\"frame\":");
  at = put_integer(at, end.last_frame);
  at = put(at, ",\"frames\":[");
  at = put_integer(at, end.first_frame);
  *at++ = ',';
  at = put_integer(at, end.last_frame);
  at = put(at, "],\"transfer\":\"");
  at = put(at, protocol_code(end.protocol));
  at = put(at, "\",\"outcome\":\"");
  at = put(at, outcome_code(end.outcome));
  *at++ = '"';
  out_.commit(at);
  TalkText head;
  DecodedMessage message;
  message.talk = &talk;
  make_head(head, message);
  std::string_view about = head.head;
  about.remove_suffix(std::string_view(",\"priority\":0,\"signals\":[").size());
  out_.append(about);
  out_.append(",\"event\":\"broken-transfer\",\"text\":");
  out_.append(json_string("the transfer " + failure_words(end)));
  out_.append("}\n");
}

void JsonLines::on_event(const Event& event) {
  const char* kind = "error-frame";
  if (event.kind == EventKind::foreign) kind = "foreign-packet";
  if (event.kind == EventKind::notice) {
    if (std::holds_alternative<BusInfo>(*event.notice)) return;
    constexpr const char* kKinds[] = {"bus", "statistics", "link", "frames-lost", "damage", "recorder-note"};
    kind = kKinds[event.notice->index()];
  }
  char* at = out_.room(kSmall);
  at = put(at, "{\"time\":\"");
  at = times_.put(at, event.time);
  at = put(at, "\",\"frame\":");
  at = event.kind == EventKind::notice ? put(at, "null") : put_integer(at, event.number);
  at = put(at, ",\"bus\":");
  out_.commit(at);
  out_.append(bus_name(event.bus));
  out_.append(",\"event\":\"");
  out_.append(kind);
  out_.append("\",\"text\":");
  out_.append(json_string(event.kind == EventKind::error ? error_frame_words(event)
                                                         : notice_words(event, std::string_view{})));
  out_.append("}\n");
}

}  // namespace

std::unique_ptr<DecodeSink> make_json_lines(OutputBuffer& out, const JsonLinesOptions& options) {
  return std::make_unique<JsonLines>(out, options);
}

}  // namespace tramlog
