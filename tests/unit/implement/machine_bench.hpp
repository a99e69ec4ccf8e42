// A bus with speeds, positions and an implement's words, byte by byte, and one machine watch that sees it.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "implement/limits.hpp"
#include "implement/watch.hpp"
#include "isobus/process_data.hpp"
#include "schema/schema.hpp"

namespace tramlog::machine {
extern const MachineWatchKind speed;
extern const MachineWatchKind positioning;
extern const MachineWatchKind units;
extern const MachineWatchKind standing_sources;
}  // namespace tramlog::machine

namespace tramlog {

using Payload = std::vector<std::uint8_t>;

inline Payload le(std::uint64_t value, unsigned bytes) {
  Payload out;
  for (unsigned i = 0; i < bytes; ++i) out.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
  return out;
}

/// PGN 65096, 65097, 61474: B1-B2 speed, B8 as given.
inline Payload speed_bytes(unsigned raw, std::uint8_t last = 0xFF) {
  return {static_cast<std::uint8_t>(raw), static_cast<std::uint8_t>(raw >> 8), 0, 0, 0, 0, 0xFF, last};
}
/// PGN 129026: B5-B6, 0.01 m/s.
inline Payload course_bytes(unsigned raw) {
  return {1, 0xFC, 0, 0, static_cast<std::uint8_t>(raw), static_cast<std::uint8_t>(raw >> 8), 0xFF, 0xFF};
}
/// PGN 51968, command 3.
inline Payload value_bytes(unsigned element, unsigned ddi, std::uint32_t raw) {
  Payload out = {static_cast<std::uint8_t>(3 | (element & 15) << 4), static_cast<std::uint8_t>(element >> 4)};
  for (const Payload& part : {le(ddi, 2), le(raw, 4)}) out.insert(out.end(), part.begin(), part.end());
  return out;
}
/// PGN 129029: method in B32 bits 8-5, integrity in B33, satellites in B34.
inline Payload quality_bytes(unsigned method, unsigned satellites = 14, unsigned integrity = 0) {
  Payload out(43, 0);
  out[31] = static_cast<std::uint8_t>(method << 4);
  out[32] = static_cast<std::uint8_t>(0xFC | integrity);
  out[33] = static_cast<std::uint8_t>(satellites);
  return out;
}

class MachineBench {
 public:
  static constexpr TimeNs kStart = 1'775'542'320 * kSecond;
  static constexpr Address kTractor = 0xF0, kTaskController = 0xF7, kImplement = 0x80, kReceiver = 0x1C;

  explicit MachineBench(const MachineWatchKind& kind)
      : kind_(kind),
        context_{Schema::built_in(),
                 SeedingLimits::built_in(),
                 machine_,
                 0,
                 [](const void* self) { return static_cast<const MachineBench*>(self)->work; },
                 this},
        watch_(kind.make(context_)) {}
  MachineBench(const MachineBench&) = delete;
  MachineBench& operator=(const MachineBench&) = delete;

  std::optional<bool> work;  // of any implement
  static TimeNs time(double t_s) { return kStart + std::llround(t_s * 1e9); }

  void send(double t_s, Pgn pgn, Address source, const Payload& payload) {
    advance(t_s);
    Message message;
    message.pgn = pgn;
    message.source = source;
    message.start = message.end = time(t_s);
    message.first_frame = message.last_frame = ++frame_;
    message.data = payload;
    machine_.take(message);
    if (pgn == kPgnProcessData || MachineState::wants(pgn) || kind_.wants(pgn)) watch_->on_message(message);
  }
  void advance(double t_s) {
    const TimeNs to = time(t_s);
    while (now_ + 100 * kMillisecond <= to) {
      now_ += 100 * kMillisecond;
      watch_->on_time(now_);
    }
    now_ = std::max(now_, to);
  }
  void blind(double t_s) {
    advance(t_s);
    watch_->on_blind();
  }
  std::vector<CheckLine> conclude(double t_s) {
    advance(t_s);
    std::vector<CheckLine> lines;
    watch_->conclude(time(t_s), lines);
    return lines;
  }

 private:
  const MachineWatchKind& kind_;
  MachineState machine_;
  MachineContext context_;
  std::unique_ptr<MachineWatch> watch_;
  TimeNs now_ = kStart;
  std::uint64_t frame_ = 0;
};

/// What each source says at a moment in mm/s; none: no message. Above 0xFAFF: a special code.
struct Driving {
  using Source = std::function<std::optional<unsigned>(double t)>;
  Source wheel, ground, selected, course;                                       // course in 0.01 m/s
  std::function<unsigned(double t)> selected_from = [](double) { return 1U; };  // B8 bits 5-3
  std::function<unsigned(double t)> key = [](double) { return 1U; };            // B8 bits 4-3 of the wheel's
  std::function<bool(double t)> implement_talks = [](double) { return true; };
  std::function<std::optional<bool>(double t)> work = [](double) { return std::optional<bool>(); };
};

/// Every 100 ms the three of the tractor, every 200 ms the receiver's, every 2 s the status and the client's
/// task.
inline void play(MachineBench& bench, const Driving& driving, double from_s, double to_s) {
  for (int step = 0; from_s + step / 10.0 < to_s; ++step) {
    const double t = from_s + step / 10.0;
    bench.work = driving.work(t);
    const auto send = [&](const Driving::Source& source, double at, Pgn pgn, Address who, auto bytes) {
      if (const auto raw = source ? source(t) : std::nullopt) bench.send(at, pgn, who, bytes(*raw));
    };
    send(driving.wheel, t + 0.001, 0xFE48, MachineBench::kTractor, [&](unsigned raw) {
      return speed_bytes(raw, static_cast<std::uint8_t>(0xF1 | driving.key(t) << 2));
    });
    send(driving.ground, t + 0.002, 0xFE49, MachineBench::kTractor,
         [](unsigned raw) { return speed_bytes(raw, 0xFD); });
    send(driving.selected, t + 0.003, 0xF022, MachineBench::kTractor, [&](unsigned raw) {
      return speed_bytes(raw, static_cast<std::uint8_t>(0xE1 | driving.selected_from(t) << 2));
    });
    if (step % 2 == 0) send(driving.course, t + 0.004, 129026, MachineBench::kReceiver, course_bytes);
    if (step % 20 != 0) continue;
    bench.send(t + 0.005, kPgnProcessData, MachineBench::kTaskController,
               {0xFE, 0xFF, 0xFF, 0xFF, 1, 0, 0, 0xFF});
    if (driving.implement_talks(t))
      bench.send(t + 0.006, kPgnProcessData, MachineBench::kImplement, {0xFF, 0xFF, 0xFF, 0xFF, 1, 0, 0, 0});
  }
}

inline CheckLine line_of(const std::vector<CheckLine>& lines, const std::string& code,
                         const std::string& subject = "") {
  const auto same = [&](const CheckLine& line) { return line.code == code && line.subject == subject; };
  REQUIRE(std::count_if(lines.begin(), lines.end(), same) == 1);
  return *std::find_if(lines.begin(), lines.end(), same);
}

inline double figure_of(const CheckLine& line, const std::string& key) {
  for (const Figure& figure : line.figures)
    if (figure.key == key) return figure.value;
  FAIL("no figure " << key << " in: " << line.text);
  return 0;
}
inline bool holds(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

}  // namespace tramlog
