// Plays one client and one task controller, message by message in bytes as they stand in the standard, to a
// Dialogue.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "implement/dialogue.hpp"
#include "unit/isobus/device_pool_bench.hpp"

namespace tramlog::test {

class DialogueBench {
 public:
  static constexpr TimeNs kStart = 1'775'542'320 * kSecond;
  static constexpr std::uint64_t kName = kDrillName;

  explicit DialogueBench(KnownPools pools = {}, bool data_logger = false)
      : pools_(std::move(pools)),
        device(Schema::built_in(), SeedingLimits::built_in(), machine_),
        desk(device, pools_),
        link((device.now = kStart, device), desk, 1, 0xF7, data_logger) {
    desk.set_claimed(Name(kName));
  }
  static TimeNs time(double seconds) {
    return kStart + static_cast<SpanNs>(seconds * 1e9 + (seconds < 0 ? -0.5 : 0.5));
  }
  Mark mark(double at) { return {time(at), ++frame_}; }

  /// Until then time passes; both send their messages every 2 s, if they do at all.
  void pass(double until) {
    while (now_ + 0.1 <= until + 1e-9) {
      now_ += 0.1;
      const double second = now_ + 1e-6;
      if (status_ && second - status_at_ >= 2) status(task_);
      if (client_ && second - client_at_ >= 2) client_task(echo_);
      device.now = time(now_);
      link.on_time(time(now_));
    }
    now_ = std::max(now_, until);
  }
  void client_says(std::vector<std::uint8_t> bytes, double long_s = 0) {
    say(std::move(bytes), true, long_s);
  }
  void server_says(std::vector<std::uint8_t> bytes) { say(std::move(bytes), false, 0); }
  void client_task(bool echo) {
    client_at_ = now_;
    client_ = true;
    echo_ = echo;
    client_says({0xFF, 0xFF, 0xFF, 0xFF, static_cast<std::uint8_t>(echo ? 1 : 0), 0, 0, 0});
  }
  void status(bool task, std::uint8_t more = 0) {
    status_at_ = now_;
    status_ = true;
    task_ = task;
    const auto parsed = parse_task_controller_status(std::vector<std::uint8_t>{
        0xFE, 0xFF, 0xFF, 0xFF, static_cast<std::uint8_t>((task ? 1 : 0) | more), 0x80, 0x81, 0xFF});
    link.on_status(*parsed, mark(now_));
  }
  void stop_status() { status_ = false; }
  void stop_client() { client_ = false; }
  double now() const { return now_; }

  // Values (1.2).
  static std::vector<std::uint8_t> variable(unsigned command, unsigned element, unsigned ddi,
                                            std::uint32_t raw) {
    std::vector<std::uint8_t> bytes = {static_cast<std::uint8_t>(command | (element & 0x0F) << 4),
                                       static_cast<std::uint8_t>(element >> 4),
                                       static_cast<std::uint8_t>(ddi), static_cast<std::uint8_t>(ddi >> 8)};
    for (unsigned i = 0; i < 4; ++i) bytes.push_back(static_cast<std::uint8_t>(raw >> (8 * i)));
    return bytes;
  }
  /// `command` < 0: as before version 4.
  static std::vector<std::uint8_t> acknowledgement(unsigned element, unsigned ddi, unsigned errors,
                                                   int command) {
    auto bytes = variable(0xD, element, ddi, 0xFFFFFFFF);
    bytes[4] = static_cast<std::uint8_t>(errors);
    if (command >= 0) bytes[5] = static_cast<std::uint8_t>(0xF0 | command);
    return bytes;
  }
  void tell(unsigned element, unsigned ddi, std::uint32_t raw) {
    device.values.take({{static_cast<std::uint16_t>(element), static_cast<std::uint16_t>(ddi)},
                        static_cast<std::int32_t>(raw),
                        {time(now_), frame_ + 1},
                        true,
                        false});
    client_says(variable(3, element, ddi, raw));
  }

  // Start-up (6.2).
  void versions(unsigned client, unsigned server, unsigned booms = 1, unsigned sections = 255,
                unsigned channels = 16, unsigned options = 0x15) {
    const auto byte = [](unsigned value) { return static_cast<std::uint8_t>(value); };
    client_says({0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    server_says({0x10, byte(server), 5, byte(options), 0, byte(booms), byte(sections), byte(channels)});
    server_says({0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    client_says({0x10, byte(client), 0xFF, 0x11, 0, 1, 2, 0});
  }
  void labels(bool known) {
    client_says({0x01, 'D', 'R', 'I', 'L', 'L', '0', '1'});
    if (!known) return server_says({0x11, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    server_says({0x11, 'D', 'R', 'I', 'L', 'L', '0', '1'});
    client_says({0x21, 'e', 'n', 0x5F, 0x04, 0x00, 0x05, 0xFF});
  }
  void localization(std::uint8_t units) { server_says({0x31, 'e', 'n', 0x5F, 0x04, units, 0x05, 0xFF}); }
  void announce(std::uint64_t bytes) {
    std::vector<std::uint8_t> message = {0x41};
    for (unsigned i = 0; i < 4; ++i) message.push_back(static_cast<std::uint8_t>(bytes >> (8 * i)));
    message.resize(8, 0xFF);
    client_says(message);
  }
  void part(const PoolData& bytes, double long_s = 1) {
    std::vector<std::uint8_t> message = {0x61};
    message.insert(message.end(), bytes.begin(), bytes.end());
    client_says(message, long_s);
  }
  void part_received(std::uint64_t bytes, std::uint8_t result = 0) {
    std::vector<std::uint8_t> message = {0x71, result};
    for (unsigned i = 0; i < 4; ++i) message.push_back(static_cast<std::uint8_t>(bytes >> (8 * i)));
    message.resize(8, 0xFF);
    server_says(message);
  }
  void activate(std::uint8_t errors = 0, unsigned parent = 0xFFFF, unsigned object = 0xFFFF,
                std::uint8_t bits = 0) {
    client_says({0x81, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    server_says({0x91, errors, static_cast<std::uint8_t>(parent), static_cast<std::uint8_t>(parent >> 8),
                 static_cast<std::uint8_t>(object), static_cast<std::uint8_t>(object >> 8), bits, 0xFF});
  }
  /// 4 to 14 with an upload.
  void connect(unsigned client_version = 4, unsigned server_version = 4) {
    begin();
    versions(client_version, server_version);
    labels(false);
    upload(pool(client_version >= 4 && server_version >= 4));
    activate();
  }
  /// 3 to 5.
  void begin() {
    status(false);
    link.on_working_set_master(mark(now_));
    client_task(false);
  }
  void upload(const PoolData& bytes) {
    announce(bytes.size());
    server_says({0x51, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    part(bytes);
    part_received(bytes.size());
  }
  /// Device, a boom (element 1) with DDI 160 and 161, two sections (2 and 3), a bin (element 4) with a rate
  /// and the maximum of it.
  static PoolData pool(bool version_4 = true, const std::string& boom = "boom") {
    PoolWriter w;
    w.device("Drill", 0, {}, version_4);
    w.element(1, 1, 0, 0, {}, "drill").element(2, 2, 1, 1, {20, 21}, boom);
    w.element(10, 4, 2, 2, {}, "section 1").element(11, 4, 3, 2, {}, "section 2");
    w.element(12, 3, 4, 2, {22, 23, 24, 30}, "seed bin");
    w.variable(20, 160, 2, 8).variable(21, 161, 0, 9).variable(22, 6, 2, 8).variable(23, 7, 1, 0x09);
    w.variable(24, 81, 2, 0x10).property(30, 10, 30000).presentation(40, 0, 0.01F, 1, "kg/ha");
    return w.data();
  }

  LinkRecord conclude() {
    lines.clear();
    return link.conclude(time(now_), lines);
  }
  const CheckLine& line(const std::string& code) {
    conclude();
    const auto fits = [&](const CheckLine& one) { return one.code == code; };
    if (std::count_if(lines.begin(), lines.end(), fits) != 1)
      throw std::runtime_error("not one line " + code);
    return *std::find_if(lines.begin(), lines.end(), fits);
  }
  Verdict verdict(const std::string& code) { return line(code).verdict; }
  /// Codes of all lines that need attention.
  std::vector<std::string> attention() {
    conclude();
    std::vector<std::string> codes;
    for (const CheckLine& one : lines)
      if (one.verdict == Verdict::attention) codes.push_back(one.code);
    return codes;
  }
  bool happened(const std::string& text) {
    const LinkRecord record = conclude();
    return std::any_of(record.events.begin(), record.events.end(),
                       [&](const LinkEvent& one) { return one.text.find(text) != std::string::npos; });
  }
  std::uint64_t frame() const { return frame_; }

 private:
  void say(std::vector<std::uint8_t> bytes, bool from_client, double long_s) {
    Message message;
    message.pgn = kPgnProcessData;
    message.source = from_client ? 0x80 : 0xF7;
    message.destination = from_client ? 0xF7 : 0x80;
    message.carrier = bytes.size() > 1785 ? Carrier::etp
                      : bytes.size() > 8  ? Carrier::rts_cts
                                          : Carrier::single;
    message.start = time(now_);
    message.end = time(now_ + long_s);
    message.first_frame = ++frame_;
    message.last_frame = frame_;
    message.data = bytes;
    device.now = message.start;
    link.on_message(message, from_client);
    now_ += long_s;
  }

  KnownPools pools_;
  MachineState machine_;
  double now_ = 0, status_at_ = 0, client_at_ = 0;
  bool status_ = false, client_ = false, task_ = false, echo_ = false;
  std::uint64_t frame_ = 0;

 public:
  Device device;
  PoolDesk desk;
  Dialogue link;
  std::vector<CheckLine> lines;
};

}  // namespace tramlog::test
