#include "decode/text_story.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <iterator>
#include <map>
#include <string>
#include <unordered_map>
#include <vector>

#include "base/text.hpp"
#include "decode/story_lines.hpp"
#include "decode/teller.hpp"
#include "decode/words.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kDay = 24 * kHour;
constexpr SpanNs kClockStep = 2 * kSecond;
constexpr int kFewestPlaces = 4, kMostPlaces = 9;  // behind the point, for people
constexpr std::int64_t kNoDay = INT64_MIN;
constexpr unsigned kIndent = 4;
constexpr unsigned kMinWidth = 40;
constexpr Pgn kPgnLanguage = 0xFE0F;           // 65039
constexpr std::size_t kMaxUnknownBytes = 256;  // shown of a message without a schema, unless all is asked for

std::int64_t day_of(TimeNs time) {
  return time / kDay - (time % kDay < 0 ? 1 : 0);
}

/// A signal as it is told: its texts are made safe once.
struct ToldSignal {
  std::string name;
  std::string unit;  // with a blank before it; empty: none
  std::optional<UnitConversion> conversion;
  double resolution = 1;
  std::uint8_t places = 20;  // behind the point that the resolution is worth
};

struct ToldMessage {
  UnitChoice choice;
  std::vector<ToldSignal> signals;
};

/// What is the same in every line of one Talk.
struct ToldTalk {
  bool known = false;
  bool named_bus = false;
  std::uint32_t generation = 0;
  std::string head;                // " tractor ECU (240, 0xF0): WheelBasedSpeedDist, PGN 65096 (0xFE48)"
  ToldMessage* message = nullptr;  // null: not in the schema
  bool remarks_say_all = false;
};

struct Bus {
  std::string name;  // safe to print
  UnitChoice units;
};

/// Four places are always shown if there are so many; beyond that one more than the resolution is worth
/// (1/256: four), and never more than nine.
std::uint8_t places_of(double resolution) {
  int places = 1;
  for (double unit = 1; places < kMostPlaces && std::abs(resolution) < unit; unit /= 10) ++places;
  return static_cast<std::uint8_t>(std::max(places, kFewestPlaces));
}

class TextStory final : public DecodeSink {
 public:
  TextStory(OutputBuffer& out, const TextOptions& options)
      : options_(options), lines_(out, std::max(options.width, kMinWidth), options.unicode) {}

  void on_message(const DecodedMessage& message) override;
  void on_broken_transfer(const TransferEnd& end, const Talk& talk, TimeNs now) override;
  void on_event(const Event& event) override;
  void on_bus(const Event& announcement) override;

 private:
  Bus& bus(BusIndex index) {
    if (index >= buses_.size()) buses_.resize(std::size_t{index} + 1);
    return buses_[index];
  }
  UnitChoice units_of(BusIndex index) {
    return options_.units ? UnitChoice::all(*options_.units) : bus(index).units;
  }
  /// " on can0", if there is more than one bus.
  std::string on_bus_words(BusIndex index);
  void moment(TimeNs time);

  const ToldTalk& told(const DecodedMessage& message);
  std::string head_words(const Talk& talk);
  std::string speaker_words(const Speaker& speaker) const;
  void tell_signals(const MessageSpec& spec, BusIndex bus, ToldMessage& message);

  void append_way(const DecodedMessage& message);
  void append_flags(const DecodedMessage& message);
  void tell_readings(const DecodedMessage& message, ToldMessage& told);
  void append_reading(const Reading& reading, const ToldSignal& signal);
  void append_number(const Reading& reading, const ToldSignal& signal);
  void tell_names(std::string_view lead, const std::vector<std::uint32_t>& which, const ToldMessage& told);
  void tell_data(const DecodedMessage& message);

  TextOptions options_;
  StoryLines lines_;
  std::int64_t day_ = kNoDay;
  TimeNs last_ = INT64_MIN + kClockStep;  // the latest line's
  std::vector<Bus> buses_;
  std::size_t named_buses_ = 0;
  std::vector<ToldTalk> talks_;
  std::map<std::pair<const MessageSpec*, BusIndex>, ToldMessage> messages_;
  std::unordered_map<const std::string*, std::string> code_texts_;
  std::string line_;  // the line or item being made
  std::vector<std::uint32_t> missing_, unasked_, cut_;
};

void TextStory::on_bus(const Event& announcement) {
  if (announcement.kind == EventKind::notice) {
    if (!announcement.notice) return;
    const auto* info = std::get_if<BusInfo>(announcement.notice);
    if (!info) return;
    Bus& known = bus(announcement.bus);
    if (known.name.empty()) ++named_buses_;
    known.name = shown_text(info->name, options_.unicode);
    return;
  }
  if (!announcement.is_iso11783() || pgn_of(announcement.id) != kPgnLanguage || !announcement.data) return;
  Bus& known = bus(announcement.bus);
  if (const auto choice = units_of_language_command({announcement.data, announcement.len}, known.units))
    known.units = *choice;
}

std::string TextStory::on_bus_words(BusIndex index) {
  if (named_buses_ < 2) return {};
  const std::string& name = bus(index).name;
  return " on " + (name.empty() ? fmt::format("bus {}", index) : name);
}

/// Begins a line with the time of day; the date has a line of its own when it changes.
void TextStory::moment(TimeNs time) {
  // More than the order among buses: the recorder's clock was set.
  if (time < last_ - kClockStep)
    lines_.line(
        fmt::format("The recorder's clock was set back by {}.", format_span(span_between(time, last_))));
  last_ = time;
  const std::int64_t day = day_of(time);
  if (day != day_) {
    day_ = day;
    lines_.line(fmt::format("{}, times in UTC", format_date_time(time).substr(0, 10)));
  }
  // Written by hand: this is done for every message.
  std::int64_t ms = (time - day * kDay) / kMillisecond;
  char text[12];
  const auto put = [&](std::size_t at, std::size_t digits, std::int64_t& value, std::int64_t base) {
    std::int64_t part = value % base;
    value /= base;
    for (std::size_t i = digits; i-- > 0; part /= 10) text[at + i] = static_cast<char>('0' + part % 10);
  };
  put(9, 3, ms, 1000);
  text[8] = '.';
  put(6, 2, ms, 60);
  text[5] = ':';
  put(3, 2, ms, 60);
  text[2] = ':';
  put(0, 2, ms, 24);
  line_.assign(text, sizeof text);
}

std::string TextStory::speaker_words(const Speaker& speaker) const {
  return fmt::format("{} ({}, 0x{:02X})", shown_text(speaker.words, options_.unicode), speaker.address,
                     speaker.address);
}

std::string TextStory::head_words(const Talk& talk) {
  std::string head = on_bus_words(talk.from.bus);
  const std::string name = talk.spec ? shown_text(talk.spec->name, options_.unicode) : std::string();
  if (!talk.extended) {
    head += fmt::format(" 11-bit identifier 0x{:03X}", talk.id);
    head += name.empty() ? ", not in the schema" : ": " + name;
    return head;
  }
  head += (head.empty() ? " " : ", ") + speaker_words(talk.from);
  if (talk.to.address != kGlobalAddress) head += " to " + speaker_words(talk.to);
  head += ": ";
  if (!name.empty()) head += name + ", ";
  head += "PGN " + pgn_words(talk.pgn);
  if (name.empty() && !talk.piece) head += ", not in the schema";
  if (talk.piece) head += "; one frame of a transfer";
  return head;
}

void TextStory::tell_signals(const MessageSpec& spec, BusIndex bus_index, ToldMessage& message) {
  message.choice = units_of(bus_index);
  message.signals.clear();
  message.signals.reserve(spec.signals.size());
  for (const SignalSpec& signal : spec.signals) {
    ToldSignal told;
    told.name = shown_text(signal.name, options_.unicode);
    told.conversion = conversion_of(signal.unit, message.choice);
    told.unit =
        shown_text(told.conversion ? told.conversion->unit : std::string_view(signal.unit), options_.unicode);
    if (!told.unit.empty()) told.unit.insert(0, 1, ' ');
    told.resolution = signal.factor.to_double();
    told.places = places_of(told.resolution);
    message.signals.push_back(std::move(told));
  }
}

const ToldTalk& TextStory::told(const DecodedMessage& message) {
  const Talk& talk = *message.talk;
  if (talk.slot >= talks_.size()) talks_.resize(std::size_t{talk.slot} + 1);
  ToldTalk& known = talks_[talk.slot];
  const bool name_bus = named_buses_ > 1;
  if (!known.known || known.generation != talk.generation || known.named_bus != name_bus) {
    known.known = true;
    known.generation = talk.generation;
    known.named_bus = name_bus;
    known.head = head_words(talk);
    known.message = nullptr;
    const Teller* teller = talk.extended ? find_teller(talk.pgn) : nullptr;
    known.remarks_say_all = teller && teller->says_all;
    if (talk.spec) {
      ToldMessage& told_message = messages_[{talk.spec, talk.from.bus}];
      if (told_message.signals.size() != talk.spec->signals.size())
        tell_signals(*talk.spec, talk.from.bus, told_message);
      known.message = &told_message;
    }
  }
  if (known.message && !(known.message->choice == units_of(talk.from.bus)))
    tell_signals(*talk.spec, talk.from.bus, *known.message);
  return known;
}

void TextStory::append_way(const DecodedMessage& message) {
  const char* way = nullptr;
  switch (message.carrier) {
    case Carrier::single:
      return;
    case Carrier::bam:
      way = "broadcast in packets";
      break;
    case Carrier::rts_cts:
      way = "sent in packets over a connection";
      break;
    case Carrier::etp:
      way = "sent in packets over an extended connection";
      break;
    case Carrier::fast_packet:
      way = "sent as fast packet";
      break;
  }
  fmt::format_to(std::back_inserter(line_), "; {} bytes {}, frames {} to {}", message.data.size(), way,
                 message.first_frame, message.last_frame);
}

void TextStory::append_flags(const DecodedMessage& message) {
  if (message.stray) line_ += " that was not heard from its beginning, or is not in order";
  if (message.flags & kRemote) line_ += "; a remote frame: it asks and carries no data";
  if (message.flags & kFd) line_ += "; a CAN FD frame";
  if (message.flags & kErrorState) line_ += "; its sender is error passive";
  if (message.flags & kOutbound) line_ += "; sent by the recording machine";
  if (message.flags & kShortData) line_ += "; the capture does not hold all of its bytes";
  if (message.flags & kUntimed) line_ += "; the capture gives no time for it";
}

void TextStory::append_number(const Reading& reading, const ToldSignal& signal) {
  char digits[kNumberChars];
  Number number =
      signal.conversion ? convert(reading.value, *signal.conversion, signal.resolution) : reading.value;
  // 1/256 km/h has eight exact places, of which a reader needs three; JSON and tables keep them all.
  if (number.kind == Number::Kind::exact && number.decimals > signal.places) {
    number.real = number.to_double();
    number.kind = Number::Kind::rounded;
    number.decimals = signal.places;
  }
  if (is_finite(number))
    line_.append(digits, static_cast<std::size_t>(write_number(digits, number) - digits));
  else
    line_ += "not a number";
  line_ += signal.unit;
}

void TextStory::append_reading(const Reading& reading, const ToldSignal& signal) {
  const SignalSpec& spec = *reading.signal;
  line_ = signal.name;
  line_ += ' ';
  const std::string* text = nullptr;
  if (reading.text) {
    std::string& known = code_texts_[reading.text];
    if (known.empty()) known = shown_text(*reading.text, options_.unicode);
    text = &known;
  }
  switch (reading.validity) {
    case Validity::valid:
      if (text) {
        line_ += *text;
        if (!signal.unit.empty()) {
          line_ += " (";
          append_number(reading, signal);
          line_ += ')';
        }
      } else if (spec.characters) {
        line_ += '"';
        const std::string shown = characters_of(reading);
        line_ += options_.unicode ? shown : as_ascii(shown);
        line_ += '"';
      } else {
        // A long signal counts or names objects; its few codes are exceptions.
        if (!spec.codes.empty() && signal.unit.empty() && spec.bit_length <= 8) line_ += "code ";
        append_number(reading, signal);
      }
      return;
    case Validity::out_of_range:
      line_ += "out of range: ";
      append_number(reading, signal);
      if (text) line_ += " (" + *text + ")";
      return;
    default:
      // Errors and reserved codes: the code's own text often says which error.
      line_ += validity_words(reading.validity, spec.command);
      if (text && *text != validity_words(reading.validity, spec.command))
        line_ += " (" + *text + ")";
      else if (!text)
        fmt::format_to(std::back_inserter(line_), " (0x{:X})", reading.raw);
  }
}

void TextStory::tell_names(std::string_view lead, const std::vector<std::uint32_t>& which,
                           const ToldMessage& told) {
  if (which.empty()) return;
  lines_.begin_paragraph(kIndent, lead);
  for (const std::uint32_t index : which) lines_.item(told.signals[index].name);
  lines_.end_paragraph();
}

void TextStory::tell_readings(const DecodedMessage& message, ToldMessage& told) {
  missing_.clear();
  unasked_.clear();
  cut_.clear();
  bool any = false;
  const SignalSpec* first = message.talk->spec->signals.data();
  for (const Reading& reading : message.readings) {
    const auto index = static_cast<std::uint32_t>(reading.signal - first);
    if (reading.validity == Validity::cut_off) {
      cut_.push_back(index);
      continue;
    }
    if (reading.validity == Validity::not_available) {
      (reading.signal->command ? unasked_ : missing_).push_back(index);
      continue;
    }
    if (!any) lines_.begin_paragraph(kIndent);
    any = true;
    append_reading(reading, told.signals[index]);
    lines_.item(line_);
  }
  if (any) lines_.end_paragraph();
  const std::size_t all = message.readings.size();
  if (all > 1 && missing_.size() == all) {
    lines_.wrapped_text("nothing available: every signal says so", kIndent, 2);
  } else if (all > 1 && unasked_.size() == all) {
    lines_.wrapped_text("nothing requested: every signal says so", kIndent, 2);
  } else {
    tell_names("not available:", missing_, told);
    tell_names("not requested:", unasked_, told);
  }
  if (!cut_.empty())
    tell_names(
        fmt::format("cut off, the message has only {}:", counted(message.data.size(), "byte", "bytes")), cut_,
        told);
}

void TextStory::tell_data(const DecodedMessage& message) {
  if (message.flags & kRemote) return;
  const std::size_t shown =
      options_.data ? message.data.size() : std::min(message.data.size(), kMaxUnknownBytes);
  if (message.data.empty()) {
    lines_.wrapped_text("no bytes", kIndent, 2);
    return;
  }
  std::string text = shown == 1 ? "byte " : "bytes ";
  text += hex_bytes(message.data.first(shown));
  if (shown < message.data.size())
    text += fmt::format(" and {}", counted(message.data.size() - shown, "more byte", "more bytes"));
  lines_.wrapped_text(text, kIndent, 2);
}

void TextStory::on_message(const DecodedMessage& message) {
  const ToldTalk& talk = told(message);
  moment(message.time);
  line_ += talk.head;
  append_way(message);
  append_flags(message);
  lines_.wrapped_text(line_, 0, kIndent + 2);
  const bool all_said = talk.remarks_say_all && !message.remarks.empty();
  if (talk.message && !message.readings.empty() && !all_said) tell_readings(message, *talk.message);
  for (const Remark& remark : message.remarks) {
    line_ = shown_text(remark.name, options_.unicode);
    line_ += ": ";
    line_ += shown_text(remark.text, options_.unicode);
    lines_.wrapped_text(line_, kIndent, 2);
  }
  // A message of which only the name is known says what it says in its bytes.
  const MessageSpec* const spec = message.talk->spec;
  if (options_.data || !spec || (spec->signals.empty() && message.remarks.empty())) tell_data(message);
  lines_.flush();
}

void TextStory::on_broken_transfer(const TransferEnd& end, const Talk& talk, TimeNs now) {
  moment(now);
  line_ += head_words(talk);
  line_ += fmt::format("; a transfer ({}) of it {}, ", protocol_code(end.protocol), failure_words(end));
  line_ += end.first_frame == end.last_frame
               ? fmt::format("frame {}", end.first_frame)
               : fmt::format("frames {} to {}, the last", end.first_frame, end.last_frame);
  line_ += " at " + format_time_of_day(end.end);
  lines_.wrapped_text(line_, 0, kIndent + 2);
  lines_.flush();
}

void TextStory::on_event(const Event& event) {
  const bool name_bus = named_buses_ > 1;
  std::string text;
  if (event.kind == EventKind::error)
    text = on_bus_words(event.bus) + (name_bus ? ", error frame: " : " Error frame: ") +
           error_frame_words(event);
  else
    text = " Recorder: " +
           notice_words(event, name_bus ? std::string_view(bus(event.bus).name) : std::string_view());
  moment(event.time);
  line_ += options_.unicode ? text : as_ascii(text);
  lines_.wrapped_text(line_, 0, kIndent + 2);
  lines_.flush();
}

}  // namespace

std::unique_ptr<DecodeSink> make_text_story(OutputBuffer& out, TextOptions options) {
  return std::make_unique<TextStory>(out, options);
}

}  // namespace tramlog
