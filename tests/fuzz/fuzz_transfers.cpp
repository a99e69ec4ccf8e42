// Transfers fed with records of five bytes and data: what, time step, source, destination, data length.
#include <cstdint>
#include <cstdlib>
#include <numeric>

#include "isobus/transfers.hpp"
#include "isobus/working_set.hpp"

using namespace tramlog;

namespace {

constexpr std::size_t kLargestMessage = 4000;

void require(bool holds) {
  if (!holds) std::abort();
}

struct Sink final : TransferSink {
  void on_message(const Message& message) override {
    require(!message.data.empty() && message.data.size() <= kLargestMessage);
    sum += std::accumulate(message.data.begin(), message.data.end(), std::uint64_t{0});
    sets.take(message);
    ++messages;
  }
  void on_transfer_end(const TransferEnd& end) override {
    require(end.bytes_received <= end.bytes_expected);
    if (end.outcome == TransferOutcome::complete) {
      require(end.bytes_received == end.bytes_expected);
      ++complete;
    }
    if (end.outcome == TransferOutcome::aborted) require(end.abort_reason && end.aborted_by);
  }

  WorkingSets sets;
  std::uint64_t sum = 0, messages = 0, complete = 0;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  constexpr Pgn kPgns[] = {0xEC00, 0xEB00, 0xC800, 0xC700, 129029, 126208, 0xFE0D, 0xFE0C};
  Sink sink;
  TransferLimits limits;
  limits.sessions = 6;
  limits.message_bytes = kLargestMessage;
  limits.total_bytes = 6000;
  Transfers transfers(sink, limits);
  Event event;
  event.flags = kExtendedId;
  event.time = 1'000 * kSecond;
  while (size >= 5) {
    const std::uint8_t what = data[0];
    const SpanNs step = data[1] * (10 * kMillisecond);
    const std::uint8_t length = data[4] & 0x0F;
    const Address source = data[2];
    const Address destination = data[3];
    data += 5;
    size -= 5;
    if (length > size) break;
    event.time += (what & 0x40) != 0 ? -step : step;
    event.flags = (what & 0x20) != 0 ? kExtendedId | kShortData : kExtendedId;
    event.bus = (what & 0x10) != 0;
    if ((what & 0x08) != 0) {
      switch (what & 0x03) {
        case 0:
          transfers.advance(event.time);
          break;
        case 1:
          transfers.note_loss(event.bus, event.time - step, event.time);
          break;
        case 2:
          transfers.finish(event.time);
          break;
        default:
          sink.sets.forget(event.bus, source);
      }
    } else {
      ++event.number;
      event.id = make_id(7, kPgns[what & 0x07], source, destination);
      event.data = data;
      event.len = length;
      transfers.take(event);
      if ((what & 0x06) == 0x06) {
        Message message;
        message.bus = event.bus;
        message.pgn = pgn_of(event.id);
        message.source = source;
        message.start = message.end = event.time;
        message.data = Bytes(data, length);
        sink.sets.take(message);
      }
    }
    data += length;
    size -= length;
  }
  transfers.finish(event.time);
  // Nothing is complete that was neither handed over nor counted as not kept; the rest may have been cut off
  // after it.
  require(sink.complete <= sink.messages + transfers.stats().messages_not_kept);
  for (const auto& [key, set] : sink.sets.all()) {
    require(set.members.size() <= WorkingSets::kMaxMembers);
    require(!set.complete() || !set.given_up(event.time + kHour));
  }
  return 0;
}
