#include "parcel/leaks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "base/text.hpp"
#include "implement/pool_parts.hpp"
#include "io/capture_reader.hpp"
#include "io/text_file.hpp"
#include "isobus/process_data.hpp"
#include "isobus/transfers.hpp"
#include "parcel/private_rules.hpp"
#include "parcel/scratch_folder.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kShortestNumber = 7;  // digits alone: shorter ones are in any report by chance

Error leak(const char* what, const std::string& where) {
  return {ErrorKind::environment, fmt::format("the parcel is not written: {} is left in it", what), where,
          "leave --private out if it may be told, or cut that part off the recording first (tramlog cut)"};
}

bool is_word(char c) {
  return std::isalnum(static_cast<unsigned char>(c)) != 0;
}

bool stands_alone(const std::string& text, std::size_t at, std::size_t length) {
  return (at == 0 || !is_word(text[at - 1])) && (at + length == text.size() || !is_word(text[at + length]));
}

/// With other signs between its characters. Only what no text holds by chance, and no blanks between: the
/// bus' own texts were searched for those, too.
bool is_spelled_in(std::string text, const PrivateTerms& terms) {
  constexpr std::size_t kShortest = 7;
  PrivateSpellings spellings;
  for (const auto& [serial, ignored] : terms.serials()) {
    const std::string told = PrivateSpellings::squeezed(serial);
    const auto digits = static_cast<std::size_t>(
        std::count_if(told.begin(), told.end(), [](unsigned char c) { return std::isdigit(c) != 0; }));
    if (told.size() >= kShortest && digits > 0 && digits < told.size()) spellings.add(serial, false);
  }
  std::replace(text.begin(), text.end(), ' ', '\n');
  return spellings.contains(text);
}

std::optional<Error> find_in_text(const Member& member, const PrivateTerms& terms) {
  const std::string text = ascii_lower(member.bytes);
  for (const auto& [known, stand_in] : terms.serials()) {
    const std::string serial = ascii_lower(known);
    const bool number = std::all_of(serial.begin(), serial.end(),
                                    [](char c) { return std::isdigit(static_cast<unsigned char>(c)) != 0; });
    // A serial without a digit may be a word of the report; where it came from the bus it was replaced.
    if (!PrivateTerms::is_telling_text(serial) || (number && serial.size() < kShortestNumber)) continue;
    for (std::size_t at = text.find(serial); at != std::string::npos; at = text.find(serial, at + 1))
      if (stands_alone(text, at, serial.size())) return leak("a serial number", member.name);
  }
  if (is_spelled_in(text, terms)) return leak("a serial number", member.name);
  for (std::size_t at = 0; at + 16 <= member.bytes.size(); ++at) {
    if (std::isxdigit(static_cast<unsigned char>(member.bytes[at])) == 0) continue;
    const auto name = Name::from_hex(std::string_view(member.bytes).substr(at, 16));
    if (name && terms.names().contains(name->raw())) return leak("a NAME", member.name);
  }
  return std::nullopt;
}

/// Looks at one capture as a curious reader would: every frame, every message, with the rules that told
/// serials in the first place.
class CaptureSearch final : public TransferSink {
 public:
  CaptureSearch(const PrivateTerms& terms, const Schema& schema)
      : terms_(terms), transfers_(*this, {}, schema.long_page_1_pgns()) {}

  void take(const Event& event) {
    if (event.kind == EventKind::notice) {
      if (const auto* note = std::get_if<RecorderNote>(event.notice)) {
        if (note->kind == RecorderNote::Kind::mark) found("a note of the technician", event.time);
        if (terms_.replaced_text(note->text) != note->text)
          found("a NAME or serial number in a note of the recorder", event.time);
        const Bytes data{reinterpret_cast<const std::uint8_t*>(note->data.data()), note->data.size()};
        // What a slice carries from before its begin is a message; whom it was made for are NAMEs.
        const bool message = note->kind == RecorderNote::Kind::known && note->number < RecorderNote::kNoPgn &&
                             note->number != kPgnProcessData;
        const MessageHead head{event.bus, message ? static_cast<Pgn>(note->number) : 0, note->address,
                               kGlobalAddress};
        search(message ? head : MessageHead{}, data, event.time);
        if (message) look(head, data, event.time);
        if (note->kind == RecorderNote::Kind::known && note->number == kPgnProcessData)
          if (const auto pool = pool_parts_.take(data)) {
            search({}, pool->bytes, event.time);
            PrivateTerms told;
            PrivateRules::learn_pool(pool->bytes, told);
            judge(told, event.time);
          }
      }
      return;
    }
    if (event.kind != EventKind::frame || (event.flags & kRemote) != 0) return;
    const MessageHead head{event.bus, pgn_of(event.id), source_of(event.id), destination_of(event.id)};
    search(event.is_iso11783() ? head : MessageHead{}, {event.data, event.len}, event.time);
    if (!event.is_iso11783()) return;
    transfers_.take(event);
    look(head, {event.data, event.len}, event.time);
  }
  void on_message(const Message& message) override {
    const MessageHead head{message.bus, message.pgn, message.source, message.destination};
    search(head, message.data, message.start);
    look(head, message.data, message.start);
  }
  void on_transfer_end(const TransferEnd&) override {}

  std::optional<Error> result(const std::string& member) const {
    if (what_ == nullptr) return std::nullopt;
    return leak(what_, fmt::format("{}, {}", member, format_date_time(at_)));
  }

 private:
  void found(const char* what, TimeNs at) {
    if (what_ != nullptr) return;
    what_ = what;
    at_ = at;
  }
  void search(const MessageHead& head, Bytes data, TimeNs at) {
    scratch_.assign(data.begin(), data.end());
    if (PrivateRules::replace_known(head, scratch_, terms_)) found("a NAME or serial number", at);
  }
  void look(const MessageHead& head, Bytes data, TimeNs at) {
    if (tells_true_position(head, data)) found("a position", at);
    PrivateTerms told;
    if (PrivateRules::learn(head, data, told)) judge(told, at);
  }
  void judge(const PrivateTerms& told, TimeNs at) {
    for (const auto& [name, ignored] : told.names())
      if (!terms_.is_stand_in_name(name) && Name(name).identity_number() != 0) found("a NAME", at);
    for (const auto& [serial, ignored] : told.serials())
      if (!terms_.is_stand_in_serial(serial)) found("a serial number", at);
  }

  const PrivateTerms& terms_;
  Transfers transfers_;
  PoolParts pool_parts_;
  std::vector<std::uint8_t> scratch_;
  const char* what_ = nullptr;
  TimeNs at_ = 0;
};

std::optional<Error> find_in_description(const Member& member, const PrivateTerms& terms) {
  std::vector<std::uint8_t> bytes(member.bytes.begin(), member.bytes.end());
  if (terms.replace_in_text(bytes)) return leak("a NAME or serial number", member.name);
  PrivateTerms told;
  PrivateRules::learn_pool(bytes, told);
  for (const auto& [name, ignored] : told.names())
    if (!terms.is_stand_in_name(name) && Name(name).identity_number() != 0)
      return leak("a NAME", member.name);
  for (const auto& [serial, ignored] : told.serials())
    if (!terms.is_stand_in_serial(serial)) return leak("a serial number", member.name);
  return std::nullopt;
}

}  // namespace

std::optional<Error> find_leak_in_capture(const std::string& path, const std::string& member,
                                          const PrivateTerms& terms, const Schema& schema) {
  auto source = CaptureSource::open({path});
  if (!source) return source.error();
  CaptureSearch search(terms, schema);
  for (;;) {
    const std::span<const Event> events = source->read();
    if (events.empty()) return search.result(member);
    for (const Event& event : events) search.take(event);
  }
}

std::optional<Error> find_leak(const std::string& file, const PrivateTerms& terms, const Schema& schema) {
  auto parcel = read_parcel(file, "the parcel");
  if (!parcel) return parcel.error();
  for (const Member& member : parcel->members) {
    std::optional<Error> error;
    if (member.name.ends_with(".zst")) {
      auto folder = ScratchFolder::create();
      if (!folder) return folder.error();
      const std::string path = folder->path() + "/" + member.name;
      if (const auto written = write_text(path, member.bytes); !written) return written.error();
      error = find_leak_in_capture(path, member.name, terms, schema);
    } else if (member.name.ends_with(".pool")) {
      error = find_in_description(member, terms);
    } else {
      error = find_in_text(member, terms);
    }
    if (error) return error;
  }
  return std::nullopt;
}

}  // namespace tramlog
