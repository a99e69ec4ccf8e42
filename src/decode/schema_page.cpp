#include "decode/schema_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "base/text.hpp"

namespace tramlog {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kColumns = 100;
constexpr std::size_t kDetailed = 3;     // up to so many messages are shown with all they have
constexpr std::size_t kMostLines = 400;  // of a list; then the reader is asked to narrow it

std::string pgn_or_id(const MessageSpec& message) {
  if (!message.extended) return fmt::format("11-bit identifier 0x{:03X}", message.id);
  if (message.exact_only) return fmt::format("29-bit identifier 0x{:08X}", message.id);
  return fmt::format("PGN {} (0x{:04X})", message.pgn, message.pgn);
}

std::string pace_words(const MessageSpec& message) {
  std::string words;
  if (message.period > 0) words = "every " + format_span(message.period);
  switch (message.sending) {
    case Sending::while_active:
      return words.empty() ? "while active" : words + " while active";
    case Sending::on_change:
      return words.empty() ? "on change" : words + " and on change";
    case Sending::on_request:
      return words.empty() ? "on request" : words + " and on request";
    case Sending::cyclic:
    case Sending::unknown:
      break;
  }
  return words;
}

std::string range_words(const SignalSpec& signal) {
  if (!signal.minimum || !signal.maximum) return "any";
  return fmt::format("{} to {}", signal.minimum->to_string(), signal.maximum->to_string());
}

// "x 0.125 - 40"
std::string scaling_words(const SignalSpec& signal) {
  std::string words = "x " + signal.factor.to_string();
  if (signal.offset.digits > 0) words += " + " + signal.offset.to_string();
  if (signal.offset.digits < 0)
    words += " - " + Decimal{-signal.offset.digits, signal.offset.exponent}.to_string();
  return words;
}

class Text {
 public:
  explicit Text(bool unicode) : unicode_(unicode) {}
  void line(std::string_view text = {}) {
    const std::string safe = printable_utf8(text);
    out_ += unicode_ ? safe : as_ascii(safe);
    out_ += '\n';
  }
  void paragraph(std::string_view text, std::size_t indent) {
    for (const std::string& part : wrapped(printable_utf8(text), kColumns - indent))
      line(std::string(indent, ' ') + part);
  }
  std::string take() { return std::move(out_); }

 private:
  bool unicode_;
  std::string out_;
};

std::string kind_words(const SignalSpec& signal) {
  switch (signal.encoding) {
    case Encoding::float32:
    case Encoding::float64:
      return "floating point";
    case Encoding::signed_integer:
      return "signed";
    case Encoding::unsigned_integer:
      break;
  }
  return signal.characters ? "characters" : "";
}

void signal_in_full(Text& text, const MessageSpec& message, const SignalSpec& signal) {
  std::string facts = fmt::format("bits {}", place_words(signal));
  if (signal.order == ByteOrder::big) facts += ", most significant byte first";
  if (const std::string kind = kind_words(signal); !kind.empty()) facts += ", " + kind;
  const bool number = signal.codes.empty() && !signal.characters;
  if (number) facts += ", " + scaling_words(signal) + (signal.unit.empty() ? "" : " " + signal.unit);
  if (number && signal.minimum) facts += ", range " + range_words(signal);
  if (signal.spn) facts += fmt::format(", SPN {}", *signal.spn);
  if (signal.multiplexor >= 0) {
    std::string codes;
    for (const RawRange& range : signal.present_for) {
      codes += codes.empty() ? "" : ", ";
      codes += range.first == range.last ? fmt::format("{}", range.first)
                                         : fmt::format("{} to {}", range.first, range.last);
    }
    facts += fmt::format(", only if {} is {}", message.signals[signal.multiplexor].name, codes);
  }
  text.paragraph(fmt::format("{} ({})", signal.name, facts), 2);
  if (!signal.comment.empty()) text.paragraph(signal.comment, 6);
  std::string codes;
  for (const CodeName& code : signal.codes)
    codes += fmt::format("{}{} {}", codes.empty() ? "" : "; ", code.code, code.text);
  if (!codes.empty()) text.paragraph(codes, 6);
}

void message_in_full(Text& text, const Schema& schema, const MessageSpec& message,
                     const std::vector<const SignalSpec*>* only) {
  std::string facts = fmt::format("{}: {}, {} bytes", message.name, pgn_or_id(message), message.length);
  if (const std::string pace = pace_words(message); !pace.empty()) facts += ", " + pace;
  if (!message.sender.empty()) facts += ", sent by " + message.sender;
  text.paragraph(facts, 0);
  text.line("  described in " + schema.source_line(message, message.line));
  if (!message.comment.empty()) text.paragraph(message.comment, 2);
  for (const SignalSpec& signal : message.signals)
    if (only == nullptr || std::find(only->begin(), only->end(), &signal) != only->end())
      signal_in_full(text, message, signal);
  if (message.signals.empty()) text.line("  Only its name is known; its bytes are shown as they are.");
}

Json number(const std::optional<Decimal>& value) {
  return value ? Json(value->to_double()) : Json(nullptr);
}

Json signal_json(const Schema& schema, const MessageSpec& message, const SignalSpec& signal) {
  Json codes = Json::array();
  for (const CodeName& code : signal.codes)
    codes.push_back({{"code", code.code}, {"text", printable_utf8(code.text)}});
  Json ranges = Json::array();
  for (const RawRange& range : signal.present_for) ranges.push_back({range.first, range.last});
  return {
      {"name", printable_utf8(signal.name)},
      {"title", printable_utf8(signal.title)},
      {"comment", printable_utf8(signal.comment)},
      {"unit", printable_utf8(signal.unit)},
      {"start_bit", signal.start_bit},
      {"bit_length", signal.bit_length},
      {"byte_order", signal.order == ByteOrder::little ? "little" : "big"},
      {"signed", signal.encoding == Encoding::signed_integer},
      {"float", signal.encoding == Encoding::float32 || signal.encoding == Encoding::float64},
      {"factor", signal.factor.to_double()},
      {"offset", signal.offset.to_double()},
      {"minimum", number(signal.minimum)},
      {"maximum", number(signal.maximum)},
      {"spn", signal.spn ? Json(*signal.spn) : Json(nullptr)},
      {"multiplexor", signal.multiplexor >= 0 ? Json(printable_utf8(message.signals[signal.multiplexor].name))
                                              : Json(nullptr)},
      {"present_for", std::move(ranges)},
      {"codes", std::move(codes)},
      {"source", printable_utf8(schema.source_line(message, signal.line))}};
}

}  // namespace

std::string place_words(const SignalSpec& signal) {
  const auto place = [](std::uint32_t bit) { return fmt::format("{}.{}", bit / 8 + 1, bit % 8 + 1); };
  if (signal.order == ByteOrder::little)
    return signal.bit_length == 1 ? place(signal.start_bit)
                                  : fmt::format("{} to {}", place(signal.start_bit),
                                                place(signal.start_bit + signal.bit_length - 1));
  // Big: from the most significant bit down to bit 1 of its byte, then on at bit 8 of the next byte.
  const std::uint32_t from_top =
      signal.start_bit / 8 * 8 + (7 - signal.start_bit % 8) + signal.bit_length - 1;
  const std::uint32_t lowest = from_top / 8 * 8 + (7 - from_top % 8);
  return signal.bit_length == 1 ? place(lowest)
                                : fmt::format("{} to {}", place(lowest), place(signal.start_bit));
}

std::string schema_overview_text(const Schema& schema) {
  Text text(false);
  text.line(
      "What messages mean comes from these files; where two know the same message, the later one counts.");
  for (const SchemaLayer& layer : schema.layers()) {
    const std::string amount = layer.messages > 0 || layer.signals > 0
                                   ? fmt::format("{:5} messages, {:6} signals", layer.messages, layer.signals)
                                   : fmt::format("{:5} entries", layer.entries);
    const std::size_t problems = layer.problems.size() + layer.problems_left_out;
    text.line(
        fmt::format("  {:32} {}{}{}", layer.name, amount, layer.built_in ? "" : ", yours",
                    problems > 0 ? fmt::format(", {} remarks (tramlog schema --check)", problems) : ""));
  }
  text.line(fmt::format(
      "  {} process data entries (DDI), texts for {} suspect parameters (SPN) and {} failure modes (FMI)",
      schema.dictionary().entries.size(), schema.trouble_texts().spn.size(),
      schema.trouble_texts().fmi.size()));
  text.line();
  text.line(
      "Look things up: tramlog schema wheel speed | tramlog schema 65096 | tramlog schema spn:190 | tramlog "
      "schema ddi:7");
  return text.take();
}

std::string schema_overview_json(const Schema& schema) {
  Json layers = Json::array();
  for (const SchemaLayer& layer : schema.layers())
    layers.push_back({{"file", printable_utf8(layer.name)},
                      {"built_in", layer.built_in},
                      {"messages", layer.messages},
                      {"signals", layer.signals},
                      {"entries", layer.entries},
                      {"problems", layer.problems.size() + layer.problems_left_out}});
  return Json{{"schema", "tramlog.schema/1"}, {"files", std::move(layers)}}.dump(2) + "\n";
}

std::string schema_hits_text(const Schema& schema, const SchemaHits& hits, bool unicode) {
  Text text(unicode);
  if (hits.messages.size() <= kDetailed) {
    for (const MessageHit& hit : hits.messages) {
      message_in_full(text, schema, *hit.message, hit.whole ? nullptr : &hit.signals);
      text.line();
    }
  } else {
    std::size_t lines = 0;
    for (const MessageHit& hit : hits.messages) {
      if (++lines > kMostLines) break;
      text.line(fmt::format("{}: {}. {}", hit.message->name, pgn_or_id(*hit.message), hit.message->title));
      for (const SignalSpec* signal : hit.signals) {
        if (hit.whole && hits.messages.size() > kDetailed * 4) break;
        if (++lines > kMostLines) break;
        text.line(fmt::format("    {}{}{}: {}", signal->name,
                              signal->unit.empty() ? "" : " in " + signal->unit,
                              signal->spn ? fmt::format(", SPN {}", *signal->spn) : "", signal->title));
      }
    }
    if (lines > kMostLines)
      text.line(fmt::format("... and more: {} messages in all; add a word.", hits.messages.size()));
    text.line();
  }
  std::size_t shown = 0;
  for (const DictionaryEntry* entry : hits.process_data) {
    if (++shown > kMostLines) break;
    text.line(fmt::format(
        "DDI {} (0x{:04X}): {}{}", entry->ddi, entry->ddi, entry->name,
        entry->unit.empty() ? "" : fmt::format(", in {} x {}", entry->unit, entry->resolution.to_string())));
  }
  for (const auto& [spn, words] : hits.spns) {
    if (++shown > kMostLines) break;
    text.line(fmt::format("SPN {}: {}", spn, words));
  }
  for (const auto& [fmi, words] : hits.fmis) text.line(fmt::format("FMI {}: {}", fmi, words));
  if (shown > kMostLines) text.line("... and more; add a word.");
  if (hits.empty())
    text.line("Nothing in the schema answers to that. tramlog schema without words shows its files.");
  std::string out = text.take();
  while (out.ends_with("\n\n")) out.pop_back();
  return out;
}

std::string schema_hits_json(const Schema& schema, const SchemaHits& hits) {
  Json messages = Json::array();
  for (const MessageHit& hit : hits.messages) {
    const MessageSpec& message = *hit.message;
    Json signals = Json::array();
    for (const SignalSpec& signal : message.signals)
      if (hit.whole || std::find(hit.signals.begin(), hit.signals.end(), &signal) != hit.signals.end())
        signals.push_back(signal_json(schema, message, signal));
    messages.push_back({{"name", printable_utf8(message.name)},
                        {"title", printable_utf8(message.title)},
                        {"comment", printable_utf8(message.comment)},
                        {"pgn", message.extended && !message.exact_only ? Json(message.pgn) : Json(nullptr)},
                        {"identifier", message.id},
                        {"extended", message.extended},
                        {"length", message.length},
                        {"period_s", message.period > 0 ? Json(to_seconds(message.period)) : Json(nullptr)},
                        {"sent", pace_words(message)},
                        {"sender", printable_utf8(message.sender)},
                        {"source", printable_utf8(schema.source_line(message, message.line))},
                        {"signals", std::move(signals)}});
  }
  Json process_data = Json::array();
  for (const DictionaryEntry* entry : hits.process_data)
    process_data.push_back({{"ddi", entry->ddi},
                            {"name", printable_utf8(entry->name)},
                            {"unit", printable_utf8(entry->unit)},
                            {"resolution", entry->resolution.to_double()}});
  Json spns = Json::array();
  for (const auto& [spn, words] : hits.spns) spns.push_back({{"spn", spn}, {"text", printable_utf8(words)}});
  Json fmis = Json::array();
  for (const auto& [fmi, words] : hits.fmis) fmis.push_back({{"fmi", fmi}, {"text", printable_utf8(words)}});
  return Json{{"schema", "tramlog.schema/1"},
              {"messages", std::move(messages)},
              {"process_data", std::move(process_data)},
              {"suspect_parameters", std::move(spns)},
              {"failure_modes", std::move(fmis)}}
             .dump(2) +
         "\n";
}

}  // namespace tramlog
