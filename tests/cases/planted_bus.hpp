// A recording made by hand, with serial numbers, positions and names of people in every place where they can
// occur; written by the rules of the standards, without the program's own transfers.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "can/can_id.hpp"
#include "io/capture_writer.hpp"

namespace tramlog::cases {

class PlantedBus {
 public:
  using Payload = std::vector<std::uint8_t>;
  explicit PlantedBus(CaptureWriter& writer) : writer_(writer) {}

  void single(std::uint32_t pgn, std::uint8_t source, std::uint8_t destination, Payload data) {
    frame(make_id(6, pgn, source, destination), data, kExtendedId);
  }
  void eleven_bit(std::uint32_t id, Payload data) { frame(id, data, 0); }
  /// `packets`: how many of them are sent; the rest never comes.
  void broadcast(std::uint32_t pgn, std::uint8_t source, const Payload& data, std::size_t packets = 999) {
    const std::size_t all = (data.size() + 6) / 7;
    single(0xEC00, source, 0xFF, control(32, data.size(), static_cast<std::uint8_t>(all), pgn));
    send_packets(0xEB00, source, 0xFF, data, 0, std::min(all, packets));
  }
  void connection(std::uint32_t pgn, std::uint8_t source, std::uint8_t destination, const Payload& data) {
    const auto all = static_cast<std::uint8_t>((data.size() + 6) / 7);
    single(0xEC00, source, destination, control(16, data.size(), all, pgn));
    single(0xEC00, destination, source, {17, all, 1, 0xFF, 0xFF, byte(pgn, 0), byte(pgn, 1), byte(pgn, 2)});
    send_packets(0xEB00, source, destination, data, 0, all);
    single(0xEC00, destination, source, control(19, data.size(), all, pgn));
  }
  void long_connection(std::uint32_t pgn, std::uint8_t source, std::uint8_t destination,
                       const Payload& data) {
    const std::size_t all = (data.size() + 6) / 7;
    const auto size = static_cast<std::uint32_t>(data.size());
    single(0xC800, source, destination,
           {20, byte(size, 0), byte(size, 1), byte(size, 2), byte(size, 3), byte(pgn, 0), byte(pgn, 1),
            byte(pgn, 2)});
    for (std::uint32_t from = 0; from < all; from += 200) {
      const auto count = static_cast<std::uint8_t>(std::min<std::size_t>(200, all - from));
      single(0xC800, destination, source,
             {21, count, byte(from + 1, 0), byte(from + 1, 1), byte(from + 1, 2), byte(pgn, 0), byte(pgn, 1),
              byte(pgn, 2)});
      single(
          0xC800, source, destination,
          {22, count, byte(from, 0), byte(from, 1), byte(from, 2), byte(pgn, 0), byte(pgn, 1), byte(pgn, 2)});
      send_packets(0xC700, source, destination, data, from, count);
    }
    single(0xC800, destination, source,
           {23, byte(size, 0), byte(size, 1), byte(size, 2), byte(size, 3), byte(pgn, 0), byte(pgn, 1),
            byte(pgn, 2)});
  }
  void fast_packet(std::uint32_t pgn, std::uint8_t source, const Payload& data, std::size_t frames = 999) {
    const auto sequence = static_cast<std::uint8_t>((sequence_++ & 7) << 5);
    std::size_t at = 0;
    for (std::uint8_t index = 0; (at < data.size() || index == 0) && index < frames; ++index) {
      Payload part{static_cast<std::uint8_t>(sequence | index)};
      if (index == 0) part.push_back(static_cast<std::uint8_t>(data.size()));
      while (part.size() < 8) part.push_back(at < data.size() ? data[at++] : 0xFF);
      single(pgn, source, 0xFF, part);
    }
  }
  void wait(SpanNs span) { now_ += span; }
  TimeNs now() const { return now_; }

  static std::uint8_t byte(std::uint64_t value, unsigned i) {
    return static_cast<std::uint8_t>(value >> (8 * i));
  }
  static Payload little(std::uint64_t value, unsigned bytes) {
    Payload data;
    for (unsigned i = 0; i < bytes; ++i) data.push_back(byte(value, i));
    return data;
  }
  static Payload text(const std::string& text) { return {text.begin(), text.end()}; }
  static Payload joined(std::initializer_list<Payload> parts) {
    Payload all;
    for (const Payload& part : parts) all.insert(all.end(), part.begin(), part.end());
    return all;
  }

 private:
  static Payload control(std::uint8_t kind, std::size_t size, std::uint8_t packets, std::uint32_t pgn) {
    return {kind, byte(size, 0), byte(size, 1), packets, 0xFF, byte(pgn, 0), byte(pgn, 1), byte(pgn, 2)};
  }
  void send_packets(std::uint32_t pgn, std::uint8_t source, std::uint8_t destination, const Payload& data,
                    std::size_t from, std::size_t count) {
    for (std::size_t i = 0; i < count; ++i) {
      Payload part{static_cast<std::uint8_t>(i + 1)};
      for (std::size_t at = (from + i) * 7; part.size() < 8; ++at)
        part.push_back(at < data.size() ? data[at] : 0xFF);
      single(pgn, source, destination, part);
    }
  }
  void frame(std::uint32_t id, const Payload& data, std::uint8_t flags) {
    Payload padded = data;
    padded.resize(64);
    Event event;
    event.time = now_ += 2 * kMillisecond;
    event.data = padded.data();
    event.len = static_cast<std::uint8_t>(data.size());
    event.id = id;
    event.flags = flags;
    writer_.write_frame(event);
  }

  CaptureWriter& writer_;
  TimeNs now_ = TimeNs{1'779'868'800} * kSecond;
  unsigned sequence_ = 0;
};

}  // namespace tramlog::cases
