// Sends hand-made frames into Transfers and keeps what comes out.
#pragma once

#include <catch2/catch.hpp>
#include <deque>
#include <vector>

#include "isobus/transfers.hpp"

namespace tramlog {

struct TransferBench final : TransferSink {
  struct Heard {
    Message message;  // its data point into `data`
    std::vector<std::uint8_t> data;
  };

  explicit TransferBench(TransferLimits limits = {}) : transfers(*this, limits) {}

  void on_message(const Message& message) override {
    messages.push_back({message, {message.data.begin(), message.data.end()}});
    messages.back().message.data = messages.back().data;
  }
  void on_transfer_end(const TransferEnd& end) override { ends.push_back(end); }

  void send(Pgn pgn, Address source, Address destination, std::vector<std::uint8_t> data) {
    Event event;
    event.time = now;
    event.number = ++frames;
    event.data = data.data();
    event.len = static_cast<std::uint8_t>(data.size());
    event.id = make_id(7, pgn, source, destination);
    event.bus = bus;
    event.flags = kExtendedId;
    transfers.take(event);
    now += step;
  }

  static std::uint8_t byte(std::uint64_t v, unsigned n) { return static_cast<std::uint8_t>(v >> 8 * n); }
  /// Byte `i` of every message sent here.
  static std::uint8_t content(std::size_t i) { return static_cast<std::uint8_t>(i * 31 + i / 256); }
  static std::vector<std::uint8_t> whole(std::size_t bytes) {
    std::vector<std::uint8_t> data(bytes);
    for (std::size_t i = 0; i < bytes; ++i) data[i] = content(i);
    return data;
  }
  static std::vector<std::uint8_t> packet(std::uint8_t sequence, std::size_t offset, std::size_t bytes) {
    std::vector<std::uint8_t> data{sequence};
    for (std::size_t i = offset; i < offset + 7; ++i)
      data.push_back(i < bytes ? content(i) : std::uint8_t{0xFF});
    return data;
  }

  // TP
  void tp_begin(std::uint8_t control, Address source, Address destination, unsigned bytes, Pgn pgn) {
    send(0xEC00, source, destination,
         {control, byte(bytes, 0), byte(bytes, 1), byte((bytes + 6) / 7, 0), 0xFF, byte(pgn, 0), byte(pgn, 1),
          byte(pgn, 2)});
  }
  void bam(Address source, unsigned bytes, Pgn pgn) { tp_begin(32, source, 255, bytes, pgn); }
  void rts(Address source, Address destination, unsigned bytes, Pgn pgn) {
    tp_begin(16, source, destination, bytes, pgn);
  }
  void tp_data(Address source, Address destination, unsigned number, unsigned bytes) {
    send(0xEB00, source, destination, packet(byte(number, 0), (number - 1) * 7, bytes));
  }
  void cts(Address receiver, Address sender, std::uint8_t count, std::uint8_t next, Pgn pgn) {
    send(0xEC00, receiver, sender, {17, count, next, 0xFF, 0xFF, byte(pgn, 0), byte(pgn, 1), byte(pgn, 2)});
  }
  void eoma(Address receiver, Address sender, unsigned bytes, Pgn pgn) {
    tp_begin(19, receiver, sender, bytes, pgn);
  }
  void abort(Address by, Address to, std::uint8_t reason, Pgn pgn, Pgn control = 0xEC00) {
    send(control, by, to, {255, reason, 0xFF, 0xFF, 0xFF, byte(pgn, 0), byte(pgn, 1), byte(pgn, 2)});
  }

  // ETP
  void etp_control(Address from, Address to, std::uint8_t control, std::uint32_t value, Pgn pgn) {
    send(0xC800, from, to,
         {control, byte(value, 0), byte(value, 1), byte(value, 2), byte(value, 3), byte(pgn, 0), byte(pgn, 1),
          byte(pgn, 2)});
  }
  void etp_rts(Address s, Address r, std::uint32_t bytes, Pgn pgn) { etp_control(s, r, 20, bytes, pgn); }
  void etp_cts(Address r, Address s, std::uint8_t count, std::uint32_t next, Pgn pgn) {
    etp_control(r, s, 21, count | next << 8, pgn);
  }
  void etp_dpo(Address s, Address r, std::uint8_t count, std::uint32_t offset, Pgn pgn) {
    etp_control(s, r, 22, count | offset << 8, pgn);
  }
  void etp_eoma(Address r, Address s, std::uint32_t bytes, Pgn pgn) { etp_control(r, s, 23, bytes, pgn); }
  void etp_data(Address s, Address r, std::uint8_t sequence, std::uint32_t offset, std::uint32_t bytes) {
    send(0xC700, s, r, packet(sequence, (offset + sequence - std::size_t{1}) * 7, bytes));
  }

  // Fast packet
  void fast(Pgn pgn, Address source, unsigned sequence, unsigned index, unsigned bytes) {
    std::vector<std::uint8_t> data{byte(sequence << 5 | index, 0)};
    std::size_t at = index == 0 ? 0 : 6 + (index - 1) * 7;
    if (index == 0) data.push_back(byte(bytes, 0));
    for (; data.size() < 8; ++at) data.push_back(at < bytes ? content(at) : std::uint8_t{0xFF});
    send(pgn, source, 255, std::move(data));
  }

  void wait(SpanNs span) {
    now += span;
    transfers.advance(now);
  }
  /// The only end, of a bench that is done.
  TransferEnd only_end() {
    transfers.finish(now);
    REQUIRE(ends.size() == 1);
    return ends[0];
  }

  Transfers transfers;
  std::deque<Heard> messages;
  std::vector<TransferEnd> ends;
  TimeNs now = 1'000 * kSecond;
  SpanNs step = 10 * kMillisecond;
  std::uint64_t frames = 0;
  BusIndex bus = 0;
};

}  // namespace tramlog
