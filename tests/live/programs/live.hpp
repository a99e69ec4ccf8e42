// What the programs of the live tests share: test frames that carry a running number, reproducible random
// frames, raw CAN sockets. Nothing here comes from the product, so that a mistake cannot cancel itself out.
#pragma once

#include <linux/can.h>

#include <chrono>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <random>
#include <string>
#include <string_view>
#include <vector>

namespace live {

/// Numbered frames travel as this PGN (proprietary to all), priority 6.
inline constexpr std::uint32_t kTestPgn = 0xFF10;

/// 8 bytes: B1-4 number (LE), B5 address, B6-8 check of the number, so that a changed byte is found.
can_frame numbered_frame(std::uint32_t number, std::uint8_t address);
/// The number of such a frame; nothing if it is another message. `sound` tells whether its check is right.
struct Number {
  std::uint32_t number = 0;
  std::uint8_t address = 0;
  bool sound = false;
};
std::optional<Number> number_of(std::uint32_t id, const std::uint8_t* data, std::size_t size);

can_frame make_frame(std::uint32_t id29, std::initializer_list<int> bytes);

/// Frames of every kind (29 and 11 bits, remote, 0 to 8 bytes), always the same ones for a seed.
class RandomFrames {
 public:
  explicit RandomFrames(std::uint64_t seed) : random_(seed) {}
  can_frame next();

 private:
  std::mt19937_64 random_;
};

/// Bytes that are always the same for a seed, for long messages.
std::vector<std::uint8_t> random_bytes(std::uint64_t seed, std::size_t size);
std::string hex(const std::uint8_t* data, std::size_t size);

/// A raw CAN socket bound to `interface`, or the end of the program with a sentence.
int open_raw(const std::string& interface);
unsigned interface_index(const std::string& interface);
[[noreturn]] void give_up(std::string_view what);  // adds errno's text; exit code 1

/// From now on SIGTERM and SIGINT only set a flag.
void catch_stop_signals();
bool is_stopped();

using Clock = std::chrono::steady_clock;
double seconds_since(Clock::time_point begin);

}  // namespace live
