// Any DBC text and any events through the Interpreter and both of its outputs: no crash, JSON lines that
// parse, text that is plain ASCII. The input is the DBC text, a line "%%", and the events; without that line
// all of it is events for our own schema.
#include <array>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "decode/explain.hpp"
#include "decode/interpreter.hpp"
#include "decode/json_lines.hpp"
#include "decode/text_story.hpp"

using namespace tramlog;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

// PGNs that somebody reads, so that the fuzzer need not find them; fast packet and transfers among them.
constexpr Pgn kPgns[] = {0xEE00,  0xEA00, 0xE800,  0xEC00, 0xEB00, 0xC800, 0xC700,  0xFEDA,
                         0xFDC5,  0xFC8D, 0xFE0F,  0xFECA, 0xFECB, 0xFE0D, 0xFE0C,  0xFE48,
                         0xF0E4,  0xCB00, 0xFED8,  0xF004, 0xFF01, 0xEF00, 0x1F805, 0x1F801,
                         0x1F014, 0xFECC, 0x1FF33, 0xE600, 0xE700, 0xAA00, 0xAB00,  0xFEE6};

class Both final : public DecodeSink {
 public:
  Both(DecodeSink& one, DecodeSink& other) : one_(one), other_(other) {}
  void on_message(const DecodedMessage& message) override {
    one_.on_message(message);
    other_.on_message(message);
  }
  void on_event(const Event& event) override {
    one_.on_event(event);
    other_.on_event(event);
  }
  void on_bus(const Event& event) override {
    one_.on_bus(event);
    other_.on_bus(event);
  }

 private:
  DecodeSink& one_;
  DecodeSink& other_;
};

void check_lines(const std::string& lines) {
  for (std::size_t at = 0; at < lines.size();) {
    const std::size_t end = lines.find('\n', at);
    require(end != std::string::npos);
    require(nlohmann::json::accept(lines.begin() + static_cast<long>(at),
                                   lines.begin() + static_cast<long>(end)));
    at = end + 1;
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  constexpr std::string_view kMark = "\n%%\n";
  const std::string_view input(reinterpret_cast<const char*>(data), size);
  const std::size_t mark = input.find(kMark);
  Schema own;
  if (mark != std::string_view::npos) {
    DbcFile file = parse_dbc(input.substr(0, mark), "fuzz.dbc");
    check_dbc(file);
    own.add(std::move(file));
    data += mark + kMark.size();
    size -= mark + kMark.size();
  }
  const Schema& schema = mark == std::string_view::npos ? Schema::built_in() : own;

  // The first byte chooses the options.
  const unsigned choice = size > 0 ? data[0] : 0;
  DecodeFilter filter;
  filter.only_changes = (choice & 1) != 0;
  filter.transport_frames = (choice & 2) != 0;
  if ((choice & 0x30) == 0x30) filter.signals = {"*", "ddi:7"};
  JsonLinesOptions json_options;
  TextOptions text_options;
  json_options.data = text_options.data = (choice & 4) != 0;
  if (choice & 8) json_options.units = text_options.units = UnitSystem::us;

  std::string lines, text;
  OutputBuffer lines_out([&](std::string_view piece) { lines += piece; }, 4096);
  OutputBuffer text_out([&](std::string_view piece) { text += piece; }, 4096);
  const auto json_sink = make_json_lines(lines_out, json_options);
  const auto text_sink = make_text_story(text_out, text_options);
  Both both(*json_sink, *text_sink);
  auto made = Interpreter::make(schema, filter, std::nullopt, both);
  if (!made.ok()) return 0;  // no signal at all fits "*"
  Interpreter& interpreter = **made;

  TimeNs now = 1'700'000'000 * kSecond;
  std::uint64_t number = 0;
  const Notice infos[] = {BusInfo{"can0", 250000}, BusInfo{"can\"1", 0}};
  for (BusIndex b = 0; b < 2; ++b) {
    Event event;
    event.kind = EventKind::notice;
    event.notice = &infos[b];
    event.bus = b;
    interpreter.take({&event, 1});
  }
  std::array<std::uint8_t, 64> payload{};
  Event last;
  // Twelve bytes an event: kind and bus, time step, PGN, source, payload.
  for (; size >= 12; data += 12, size -= 12) {
    now += static_cast<SpanNs>(data[1]) * data[1] * 200 * kMicrosecond;
    if (data[0] == 0xFF) now -= 2 * data[1] * kMinute;
    Event event;
    event.time = now;
    event.bus = data[0] & 1;
    event.data = data + 4;
    event.len = 8;
    Notice notice;
    switch (data[0] >> 1 & 7) {
      case 5:
        event.kind = EventKind::error;
        event.number = ++number;
        event.id = load_le32(data + 2) & 0x3FF;
        break;
      case 6:
        event.kind = data[3] & 1 ? EventKind::notice : EventKind::foreign;
        if (event.kind == EventKind::foreign) event.number = ++number;
        event.notice = &notice;
        if (data[2] % 4 == 0) notice = Counters{load_le32(data + 4), data[8], data[9]};
        if (data[2] % 4 == 1) notice = LinkChange{static_cast<LinkState>(data[4] % 3)};
        if (data[2] % 4 == 2) notice = FramesLost{data[4]};
        if (data[2] % 4 == 3)
          notice = Damage{data[4], data[5], std::string(1, static_cast<char>(data[6])), 0};
        if (event.kind == EventKind::foreign) event.notice = nullptr;
        break;
      case 7:
        // Any identifier, any kind of frame, up to 64 bytes.
        event.number = ++number;
        event.flags = data[2];
        event.id = load_le32(data + 4) & (event.flags & kExtendedId ? kExtendedIdMask : 0x7FFu);
        for (std::size_t i = 0; i < payload.size(); ++i) payload[i] = data[4 + i % 8];
        event.data = payload.data();
        event.len = static_cast<std::uint8_t>(data[3] % (event.flags & kFd ? 65 : 9));
        break;
      default:
        event.number = ++number;
        event.flags = kExtendedId;
        event.id = make_id(6, kPgns[data[2] % std::size(kPgns)], data[3], data[2] & 0x80 ? data[4] : 0xFF);
        event.len = (data[0] & 0x40) ? data[4] % 9 : 8;
        break;
    }
    interpreter.take({&event, 1});
    if (event.kind != EventKind::notice) last = event;
  }
  interpreter.finish();
  lines_out.flush();
  text_out.flush();
  check_lines(lines);
  for (const char c : text) require(c == '\n' || (c >= 0x20 && c < 0x7F));
  if (last.number > 0 && last.data != nullptr) {
    ExplainInput explain;
    explain.frame = &last;
    for (const char c : explain_frame(schema, explain)) require(c == '\n' || (c >= 0x20 && c < 0x7F));
  }
  return 0;
}
