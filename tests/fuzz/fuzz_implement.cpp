// Process data of every kind between task controllers and clients, with speeds, positions and languages around them: ImplementWatch with all its
// watches must take any order of any values at any time.
#include <algorithm>
#include <cstdint>
#include <vector>

#include "implement/implement_watch.hpp"
#include "schema/schema.hpp"

using namespace tramlog;

namespace {

struct Nobody final : NetworkSink {
  void on_claim(const Claim&) override {}
  void on_owner(BusIndex, Address, ControllerId, ControllerId, TimeNs) override {}
};

void claim(Network& network, Address address, std::uint64_t name, TimeNs time) {
  std::uint8_t bytes[8];
  for (unsigned i = 0; i < 8; ++i) bytes[i] = static_cast<std::uint8_t>(name >> (8 * i));
  Event frame;
  frame.kind = EventKind::frame;
  frame.time = time;
  frame.number = 1;
  frame.id = make_id(6, kPgnAddressClaimed, address, kGlobalAddress);
  frame.flags = kExtendedId;
  frame.data = bytes;
  frame.len = 8;
  network.take_claim(frame);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Nobody sink;
  Network network(sink);
  TimeNs now = 1'775'000'000 * kSecond;
  claim(network, 0xF7, 0xA000820000000001, now);  // function 130, task controller
  claim(network, 0x80, 0xA008800000000002, now);  // a client
  ImplementWatch watch(Schema::built_in(), network);
  constexpr Pgn kPgns[] = {kPgnProcessData, kPgnProcessData, kPgnProcessData, 0xFE48, 0xFE49, 0xF022, 129026, 129029,
                           129025,          0xFE0F,          0xE800,          0xFE0D, 0xFEE8};
  std::uint64_t frame = 1;
  std::size_t at = 0;
  // Each step: who, what, how much later, how long, then the payload.
  while (at + 4 <= size) {
    const std::uint8_t who = data[at], what = data[at + 1], later = data[at + 2];
    std::size_t length = data[at + 3];
    at += 4;
    if (length < 0xC0) length = 8;
    else if (length == 0xFF) length = 600;
    length = std::min(length, size - at);
    now += SpanNs{later} * later * kMillisecond;
    if ((what & 0x1F) == 0x1F) {
      switch (what >> 5) {
        case 0:
          watch.take_blindness(0, now - kSecond, now);
          break;
        case 1:
          watch.take_clock_step();
          now -= 5 * kSecond;
          break;
        case 2:
          watch.take_start(who & 1, {now, frame});
          break;
        default:
          watch.advance(now);
          break;
      }
      continue;
    }
    Message message;
    message.pgn = kPgns[(what & 0x1F) % std::size(kPgns)];
    message.source = (who & 1) != 0 ? 0xF7 : 0x80;
    message.destination = (who & 2) != 0 ? kGlobalAddress : (who & 1) != 0 ? Address{0x80} : Address{0xF7};
    if ((who & 0xF0) == 0xF0) message.source = who;  // strangers too
    message.start = message.end = now;
    message.first_frame = message.last_frame = ++frame;
    message.carrier = length > 8 ? Carrier::rts_cts : Carrier::single;
    message.data = Bytes(data + at, length);
    at += length;
    if (ImplementWatch::wants(message.pgn)) watch.take(message);
    if (later > 30) watch.advance(now);
  }
  const SeedingRecord record = watch.conclude(now);
  for (const ImplementRecord& implement : record.implements)
    for (const CheckLine& line : implement.lines)
      if (line.code.empty() || line.text.empty() ||
          std::find(std::begin(kTopics), std::end(kTopics), line.topic) == std::end(kTopics))
        __builtin_trap();
  return 0;
}
