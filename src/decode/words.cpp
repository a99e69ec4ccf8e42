#include "decode/words.hpp"

#include <fmt/format.h>

#include <cstddef>
#include <iterator>
#include <optional>

#include "base/text.hpp"
#include "can/error_frame.hpp"
#include "exam/recorder_words.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

using namespace error_frame;

struct CodeWords {
  std::uint8_t code;
  const char* words;
};

template <std::size_t count>
const char* find_words(const CodeWords (&table)[count], std::uint8_t code) {
  for (const CodeWords& entry : table)
    if (entry.code == code) return entry.words;
  return nullptr;
}

/// Collects clauses; the separator comes between them.
class Clauses {
 public:
  explicit Clauses(std::string_view separator) : separator_(separator) {}
  void add(std::string_view clause) {
    if (!text_.empty()) text_ += separator_;
    text_ += clause;
  }
  void add_if(bool there, std::string_view clause) {
    if (there) add(clause);
  }
  bool empty() const { return text_.empty(); }
  const std::string& text() const { return text_; }

 private:
  std::string_view separator_;
  std::string text_;
};

void add_controller(std::uint8_t bits, Clauses& clauses) {
  const auto direction = [](bool receive, bool transmit) {
    return receive && transmit ? "receive and transmit" : receive ? "receive" : "transmit";
  };
  clauses.add_if(bits == 0, "the recorder's controller has a problem that it does not name");
  clauses.add_if(bits & 0x01, "the recorder's receive buffer overflowed: frames are missing here");
  clauses.add_if(bits & 0x02, "the recorder's transmit buffer overflowed");
  if (bits & 0x0C)
    clauses.add(fmt::format("the recorder's controller has counted many errors: warning level ({})",
                            direction(bits & 0x04, bits & 0x08)));
  if (bits & 0x30)
    clauses.add(
        fmt::format("the recorder's controller is error passive ({})", direction(bits & 0x10, bits & 0x20)));
  clauses.add_if(bits & 0x40, "the recorder's controller is error active again");
  clauses.add_if(bits & 0x80, "the recorder's controller reports an unknown state (0x80)");
}

constexpr CodeWords kPlaces[] = {
    {0x03, "start of frame"},
    {0x02, "identifier bits 28 to 21"},
    {0x06, "identifier bits 20 to 18"},
    {0x04, "substitute remote request bit"},
    {0x05, "identifier extension bit"},
    {0x07, "identifier bits 17 to 13"},
    {0x0F, "identifier bits 12 to 5"},
    {0x0E, "identifier bits 4 to 0"},
    {0x0C, "remote request bit"},
    {0x0D, "reserved bit 1"},
    {0x09, "reserved bit 0"},
    {0x0B, "length code"},
    {0x0A, "data bytes"},
    {0x08, "checksum"},
    {0x18, "checksum delimiter"},
    {0x19, "acknowledgement slot"},
    {0x1B, "acknowledgement delimiter"},
    {0x1A, "end of frame"},
    {0x12, "pause between frames"},
};

std::string protocol_words(std::uint8_t bits, std::uint8_t place) {
  Clauses what(", ");
  what.add_if(bits & 0x01, "a single bit was wrong");
  what.add_if(bits & 0x02, "form error");
  what.add_if(bits & 0x04, "stuff error");
  what.add_if(bits & 0x08, "cannot drive the wire dominant");
  what.add_if(bits & 0x10, "the wire stays dominant");
  what.add_if(bits & 0x20, "overload");
  what.add_if(bits & 0x40, "active error flag");
  std::string text = "error on the wire: ";
  text += what.empty() ? "kind not told" : what.text();
  if (const char* where = find_words(kPlaces, place))
    text += fmt::format(", at the {}", where);
  else if (place != 0)
    text += fmt::format(", at place 0x{:02X}", place);
  if (bits & 0x80) text += ", while the recorder was transmitting";
  return text;
}

constexpr CodeWords kHighWire[] = {
    {0x04, "CAN_H is not connected"},
    {0x05, "CAN_H is shorted to battery"},
    {0x06, "CAN_H is shorted to the transceiver's supply"},
    {0x07, "CAN_H is shorted to ground"},
};
constexpr CodeWords kLowWire[] = {
    {0x40, "CAN_L is not connected"},
    {0x50, "CAN_L is shorted to battery"},
    {0x60, "CAN_L is shorted to the transceiver's supply"},
    {0x70, "CAN_L is shorted to ground"},
    {0x80, "CAN_L is shorted to CAN_H"},
};

std::string transceiver_words(std::uint8_t code) {
  Clauses what(", ");
  const char* high = find_words(kHighWire, code & 0x0F);
  const char* low = find_words(kLowWire, code & 0xF0);
  if (high) what.add(high);
  if (low) what.add(low);
  if (what.empty())
    return code == 0 ? "the recorder's transceiver has a problem that it does not name"
                     : fmt::format("the recorder's transceiver reports code 0x{:02X}", code);
  return "wiring: " + what.text();
}

/// "250 kbit/s"; whole kilobits are the rule.
std::string bit_rate_words(std::uint64_t rate) {
  if (rate == 0) return "bit rate not told";
  return rate % 1000 == 0 ? fmt::format("{} kbit/s", rate / 1000) : fmt::format("{} bit/s", rate);
}

struct NoticeWords {
  std::string_view bus;

  std::string of_bus() const { return bus.empty() ? "" : fmt::format(" of {}", printable_utf8(bus)); }

  std::string operator()(const BusInfo& info) const {
    return fmt::format("bus {} begins, {}", printable_utf8(info.name), bit_rate_words(info.bitrate));
  }
  std::string operator()(const Counters& counters) const {
    Clauses parts(", ");
    if (counters.received)
      parts.add(fmt::format("{} received", counted(*counters.received, "frame", "frames")));
    if (counters.interface_dropped)
      parts.add(fmt::format("{} dropped by the interface", *counters.interface_dropped));
    if (counters.system_dropped)
      parts.add(fmt::format("{} dropped by the recording machine", *counters.system_dropped));
    if (parts.empty()) return fmt::format("the recorder{} is running", of_bus());
    return fmt::format("counters{} since the capture began: {}", of_bus(), parts.text());
  }
  std::string operator()(const LinkChange& change) const {
    switch (change.state) {
      case LinkState::down:
        return fmt::format("the interface{} went down: nothing is heard until it is up", of_bus());
      case LinkState::up:
        return fmt::format("the interface{} is up", of_bus());
      case LinkState::paused:
        break;
    }
    return fmt::format("the recording{} was paused", of_bus());
  }
  std::string operator()(const FramesLost& lost) const {
    return fmt::format("{}{} {} lost just before this", counted(lost.frames, "frame", "frames"), of_bus(),
                       lost.frames == 1 ? "was" : "were");
  }
  std::string operator()(const RecorderNote& note) const {
    return note.of_bus && !bus.empty() ? fmt::format("{}: {}", printable_utf8(bus), note_words(note)) : note_words(note);
  }
  std::string operator()(const Damage& damage) const {
    const std::string file = damage.file == 0 ? "" : fmt::format(" of file {}", damage.file + 1);
    return fmt::format("the capture is damaged: {}{} at offset {} could not be read ({})",
                       counted(damage.bytes, "byte", "bytes"), file, damage.offset,
                       printable_utf8(damage.reason));
  }
};

}  // namespace

std::string error_frame_words(const Event& event) {
  const auto detail = [&](std::size_t index) {
    return event.data && index < event.len ? event.data[index] : std::uint8_t{0};
  };
  const std::uint32_t classes = event.id;
  Clauses clauses("; ");
  clauses.add_if(classes & kBusOff,
                 "bus off: the recorder's controller has left the bus after too many errors");
  clauses.add_if(classes & kRestarted, "the recorder's controller was started again after bus off");
  if (classes & kController) add_controller(detail(1), clauses);
  if (classes & kProtocol) clauses.add(protocol_words(detail(2), detail(3)));
  if (classes & kTransceiver) clauses.add(transceiver_words(detail(4)));
  clauses.add_if(classes & kNoAcknowledgement,
                 "no acknowledgement: nobody else listens or the bit rate is wrong");
  clauses.add_if(classes & kSendTimeout, "the recorder's adapter could not send in time");
  if (classes & kArbitrationLost)
    clauses.add(detail(0) == 0 ? "the recorder lost the arbitration to a frame of higher priority"
                               : fmt::format("the recorder lost the arbitration at bit {}", detail(0)));
  clauses.add_if((classes & kBusError) && !(classes & kProtocol), "error on the wire: kind not told");
  if (classes & ~kKnownClasses)
    clauses.add(fmt::format("unknown error class 0x{:X}", classes & ~kKnownClasses));
  // Older drivers fill the counters in without saying so.
  const bool counters = (classes & kCounters) || ((classes & kController) && (detail(6) || detail(7)));
  if (counters) clauses.add(fmt::format("error counters: transmit {}, receive {}", detail(6), detail(7)));
  if (clauses.empty()) return "error frame that names no reason";
  return clauses.text();
}

std::string notice_words(const Event& event, std::string_view bus) {
  if (event.kind == EventKind::foreign)
    return "a packet that is no CAN frame of this bus: other link type, cut short, or CAN XL";
  if (event.kind != EventKind::notice || !event.notice) return {};
  return std::visit(NoticeWords{bus}, *event.notice);
}

}  // namespace tramlog
