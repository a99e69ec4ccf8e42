#include "decode/explain.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "decode/explain_parts.hpp"
#include "decode/story_lines.hpp"
#include "decode/teller.hpp"
#include "decode/words.hpp"
#include "exam/words.hpp"
#include "isobus/transfers.hpp"

namespace tramlog {

std::string ExplainPage::shown(std::string_view text) const {
  return shown_text(text, unicode_);
}

void ExplainPage::raw_line(std::string_view text) {
  text_ += text;
  text_ += '\n';
}

void ExplainPage::text(std::size_t indent, std::string_view text, std::size_t hang) {
  if (indent + columns_of_utf8(text) <= kExplainWidth && text.find('\n') == std::string_view::npos) {
    text_.append(indent, ' ');
    raw_line(text);
    return;
  }
  bool first = true;
  for (const std::string& part : wrapped(text, kExplainWidth - indent - hang)) {
    text_.append(first ? indent : indent + hang, ' ');
    raw_line(part);
    first = false;
  }
}

void ExplainPage::row(std::string_view lead, std::string_view text) {
  bool first = true;
  for (const std::string& part : wrapped(text, kExplainWidth - lead.size())) {
    text_ += first ? std::string(lead) : std::string(lead.size(), ' ');
    raw_line(part);
    first = false;
  }
}

void ExplainPage::gap() {
  text_ += '\n';
}

namespace {

constexpr Pgn kPgnTpControl = 0xEC00, kPgnTpData = 0xEB00, kPgnEtpControl = 0xC800, kPgnEtpData = 0xC700;
constexpr std::size_t kPacketBytes = 7;
constexpr std::size_t kFirstFastBytes = 6;

class Explanation {
 public:
  Explanation(const Schema& schema, const ExplainInput& input, const ExplainOptions& options)
      : schema_(schema), input_(input), frame_(*input.frame), options_(options), page_(options.unicode) {}

  std::string run();

 private:
  Bytes frame_bytes() const { return frame_.data ? Bytes{frame_.data, frame_.len} : Bytes{}; }
  void head();
  void identifier();
  std::string who(const Speaker* speaker, Address address) const;
  void packet();
  void whole(const Message& message);
  void why(const MessageSpec& spec, std::uint32_t id, bool extended);
  void remarks(const Message& message);

  const Schema& schema_;
  const ExplainInput& input_;
  const Event& frame_;
  const ExplainOptions& options_;
  ExplainPage page_;
};

void Explanation::head() {
  std::string text = fmt::format("Frame {}", frame_.number);
  if (!input_.bus.empty()) text += " on " + printable_utf8(input_.bus);
  text += ", " + format_rfc3339(frame_.time);
  if (frame_.flags & kUntimed) text += " (time of the packet before: the capture gives none)";
  page_.text(0, page_.shown(text));
  if (frame_.flags & kRemote)
    page_.text(2, "a remote frame: it asks and carries no data; ISO 11783 does not use them");
  if (frame_.flags & kFd) page_.text(2, "a CAN FD frame: no ISO 11783 traffic");
  if (frame_.flags & kErrorState) page_.text(2, "its sender is error passive");
  if (frame_.flags & kOutbound) page_.text(2, "sent by the recording machine");
  if (frame_.flags & kShortData) page_.text(2, "the capture does not hold all of its bytes");
}

std::string Explanation::who(const Speaker* speaker, Address address) const {
  std::string text = fmt::format("0x{:02X}", address);
  if (!speaker || speaker->address != address) return text;
  if (!speaker->words.empty()) text += ", " + printable_utf8(speaker->words);
  if (speaker->name) text += ", NAME " + speaker->name->hex();
  return text;
}

void Explanation::identifier() {
  const std::uint32_t id = frame_.id;
  page_.gap();
  if (!(frame_.flags & kExtendedId)) {
    page_.raw_line(
        fmt::format("Identifier 0x{:03X}, 11 bits: no ISO 11783 traffic, has neither PGN nor addresses", id));
    return;
  }
  const auto row = [&](const char* bits, const char* field, unsigned value, const std::string& text) {
    page_.row(fmt::format("  {:<11} {:<19} {:>6}  ", bits, field, value), page_.shown(text));
  };
  page_.raw_line(fmt::format("Identifier 0x{:08X}, 29 bits", id));
  row("bits 28-26", "priority", priority_of(id), "0 is the most urgent, 7 the least");
  row("bit 25", "extended data page", id >> 25 & 1,
      id >> 25 & 1 ? "not used by ISO 11783" : "as ISO 11783 has it");
  row("bit 24", "data page", id >> 24 & 1,
      id >> 24 & 1 ? "NMEA 2000 messages are here" : "most ISO 11783 messages are here");
  const std::uint8_t format = pdu_format_of(id);
  const auto specific = static_cast<Address>(id >> 8);
  if (is_pdu1(id)) {
    row("bits 23-16", "PDU format", format,
        fmt::format("0x{:02X}, below 240: PDU1, has a destination", format));
    row("bits 15-8", "destination", specific,
        specific == kGlobalAddress ? "0xFF, all" : who(input_.to, specific));
  } else {
    row("bits 23-16", "PDU format", format, fmt::format("0x{:02X}, 240 or more: PDU2, goes to all", format));
    row("bits 15-8", "group extension", specific, fmt::format("0x{:02X}, part of the PGN", specific));
  }
  row("bits 7-0", "source", source_of(id), who(input_.from, source_of(id)));
  const Pgn pgn = pgn_of(id);
  row("bits 25-8", "PGN", pgn,
      is_pdu1(id) ? fmt::format("0x{:04X}, with 0 in place of the destination", pgn)
                  : fmt::format("0x{:04X}", pgn));
}

const char* way_words(Carrier carrier) {
  switch (carrier) {
    case Carrier::single:
      return "in one frame";
    case Carrier::bam:
      return "broadcast in packets (TP, BAM)";
    case Carrier::rts_cts:
      return "in packets over a connection (TP, RTS/CTS)";
    case Carrier::etp:
      return "in packets over an extended connection (ETP)";
    case Carrier::fast_packet:
      break;
  }
  return "as fast packet";
}

/// Bytes of the message that a packet holds, counted from 1.
std::string span_words(std::size_t first, std::size_t capacity, const Message* message) {
  std::size_t last = first + capacity - 1;
  if (message) {
    if (first > message->data.size()) return "beyond the end of the message";
    last = std::min(last, message->data.size());
  }
  return first == last ? fmt::format("byte {} of the message", first)
                       : fmt::format("bytes {} to {} of the message", first, last);
}

/// What the frame is within its transfer.
void Explanation::packet() {
  const Pgn pgn = pgn_of(frame_.id);
  const Bytes bytes = frame_bytes();
  page_.gap();
  page_.raw_line("Part of a transfer");
  if (pgn == kPgnTpControl || pgn == kPgnEtpControl) {
    page_.text(2, "a control message, not data");
    Message control;
    control.pgn = pgn;
    control.source = source_of(frame_.id);
    control.destination = destination_of(frame_.id);
    control.data = bytes;
    remarks(control);
  } else if (bytes.empty()) {
    page_.text(2, "a packet without bytes");
  } else if (pgn == kPgnTpData || pgn == kPgnEtpData) {
    const std::size_t number = bytes[0];
    if (pgn == kPgnEtpData) {
      page_.text(2, fmt::format("data packet {} after the latest data packet offset", number));
    } else if (number == 0) {
      page_.text(2, "data packet with the number 0, which the standard does not have");
    } else {
      std::string text = fmt::format("data packet {}", number);
      if (input_.message)
        text += fmt::format(" of {}", (input_.message->data.size() + kPacketBytes - 1) / kPacketBytes);
      page_.text(2, text + ": " + span_words((number - 1) * kPacketBytes + 1, kPacketBytes, input_.message));
    }
  } else {
    const unsigned sequence = bytes[0] >> 5, counter = bytes[0] & 0x1F;
    if (counter == 0)
      page_.text(2, fmt::format("first frame of the fast packet with sequence {}, {}: {}", sequence,
                                bytes.size() > 1 ? counted(bytes[1], "byte", "bytes") + " announced"
                                                 : std::string("no length announced"),
                                span_words(1, kFirstFastBytes, input_.message)));
    else
      page_.text(2, fmt::format("frame {} (counted from 0) of the fast packet with sequence {}: {}", counter,
                                sequence,
                                span_words(kFirstFastBytes + (counter - 1) * kPacketBytes + 1, kPacketBytes,
                                           input_.message)));
  }
  page_.raw_line("  its bytes " + hex_bytes(bytes.first(std::min<std::size_t>(bytes.size(), 8))));
  if (!input_.message) {
    page_.text(2, "the whole message is not known: the capture does not hold all of its frames");
    return;
  }
  const Message& message = *input_.message;
  page_.text(2, fmt::format("belongs to PGN {}: {} {}, frames {} to {}", pgn_words(message.pgn),
                            counted(message.data.size(), "byte", "bytes"), way_words(message.carrier),
                            message.first_frame, message.last_frame));
}

void Explanation::why(const MessageSpec& spec, std::uint32_t id, bool extended) {
  std::string name = printable_utf8(spec.name);
  if (spec.title != spec.name) name += ": " + printable_utf8(spec.title);
  page_.text(0, page_.shown("Message " + name));
  const auto& layers = schema_.layers();
  const bool built_in = spec.layer < layers.size() && layers[spec.layer].built_in;
  page_.text(2, page_.shown(fmt::format("from {}{}", printable_utf8(schema_.source_line(spec, spec.line)),
                                        built_in ? ", which is built in" : "")));
  std::string reason;
  // The priority is no part of what is compared.
  constexpr std::uint32_t kWithoutPriority = (std::uint32_t{1} << kPriorityShift) - 1;
  if (!extended)
    reason = "chosen by its 11-bit identifier";
  else if (((spec.id ^ id) & kWithoutPriority) == 0)
    reason = fmt::format("chosen by its exact identifier (0x{:08X} in the schema; the priority may differ)",
                         spec.id);
  else if (source_of(spec.id) == source_of(id))
    reason = fmt::format(
        "chosen by its PGN and source: priority and destination may differ (0x{:08X} in the schema)",
        spec.id);
  else
    reason = fmt::format(
        "chosen by its PGN: priority, source and destination may differ (0x{:08X} in the schema)", spec.id);
  const auto has_messages = [](const SchemaLayer& layer) { return layer.messages > 0; };
  const auto files = std::count_if(layers.begin(), layers.end(), has_messages);
  if (files > 1 && spec.layer < layers.size())
    reason +=
        fmt::format("; schema file {} of {}, the latest that has it",
                    std::count_if(layers.begin(), layers.begin() + spec.layer + 1, has_messages), files);
  page_.text(2, reason);
}

void Explanation::remarks(const Message& message) {
  const Teller* teller = find_teller(message.pgn);
  if (!teller) return;
  std::vector<Remark> said;
  teller->tell(message, schema_, said);
  for (const Remark& remark : said)
    page_.text(2, page_.shown(fmt::format("in words: {}: {}", remark.name, remark.text)), 4);
}

void Explanation::whole(const Message& message) {
  const bool extended = (frame_.flags & kExtendedId) != 0;
  const MessageSpec* spec = message.carrier == Carrier::single
                                ? schema_.find(frame_.id, extended)
                                : schema_.find(message.pgn, message.source, message.destination);
  const std::uint32_t id = message.carrier == Carrier::single
                               ? frame_.id
                               : make_id(0, message.pgn, message.source, message.destination);
  page_.gap();
  if (spec)
    why(*spec, id, extended);
  else
    page_.text(0, extended ? fmt::format("PGN {} is not in the schema", pgn_words(message.pgn))
                           : std::string("The identifier is not in the schema"));
  std::string length = counted(message.data.size(), "byte", "bytes");
  if (spec && message.data.size() == spec->length)
    length += ", as the schema says";
  else if (spec)
    length += fmt::format(", the schema says {}", spec->length);
  page_.text(2, length);
  // Texts and lists without signals are told here.
  if (extended) remarks(message);
  page_.gap();
  if (spec)
    explain_signals(page_, schema_, *spec, message.data, options_.units);
  else
    explain_bytes(page_, message.data);
}

std::string Explanation::run() {
  if (frame_.kind == EventKind::error || frame_.kind == EventKind::foreign) {
    head();
    page_.text(2, page_.shown(frame_.kind == EventKind::error ? "Error frame: " + error_frame_words(frame_)
                                                              : notice_words(frame_, input_.bus)));
    if (!frame_bytes().empty()) page_.text(2, "its bytes " + hex_bytes(frame_bytes()));
    return page_.result();
  }
  if (frame_.kind == EventKind::notice) {
    page_.text(0, page_.shown(format_rfc3339(frame_.time) + ": " + notice_words(frame_, input_.bus)));
    return page_.result();
  }
  head();
  identifier();
  if (frame_.flags & kRemote) return page_.result();

  const Pgn pgn = pgn_of(frame_.id);
  const bool part =
      frame_.is_iso11783() &&
      (Transfers::is_transport(pgn) ||
       (input_.message ? input_.message->carrier != Carrier::single : Transfers::is_fast_packet(pgn)));
  if (part) {
    packet();
    if (input_.message) whole(*input_.message);
    return page_.result();
  }
  Message single;
  single.bus = frame_.bus;
  single.pgn = pgn;
  single.source = source_of(frame_.id);
  single.destination = destination_of(frame_.id);
  single.start = single.end = frame_.time;
  single.first_frame = single.last_frame = frame_.number;
  single.data = frame_bytes();
  whole(single);
  return page_.result();
}

}  // namespace

std::string explain_frame(const Schema& schema, const ExplainInput& input, const ExplainOptions& options) {
  return Explanation(schema, input, options).run();
}

}  // namespace tramlog
