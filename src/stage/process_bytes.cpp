#include "stage/process_bytes.hpp"

#include <algorithm>
#include <limits>

namespace tramlog::stage {
namespace {

constexpr std::uint8_t kFill = 0xFF;

std::uint8_t byte(unsigned value) {
  return static_cast<std::uint8_t>(value & 0xFF);
}

}  // namespace

void put_le(std::vector<std::uint8_t>& out, std::uint64_t value, unsigned bytes) {
  for (unsigned i = 0; i < bytes; ++i) out.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}

std::vector<std::uint8_t> process_bytes(unsigned command, unsigned element, unsigned ddi,
                                        std::int64_t value) {
  const std::int64_t kept = std::clamp<std::int64_t>(value, std::numeric_limits<std::int32_t>::min(),
                                                     std::numeric_limits<std::uint32_t>::max());
  std::vector<std::uint8_t> out = {byte(command | (element & 0xF) << 4), byte(element >> 4), byte(ddi),
                                   byte(ddi >> 8)};
  put_le(out, static_cast<std::uint64_t>(kept), 4);
  return out;
}

std::vector<std::uint8_t> acknowledge_bytes(unsigned command, unsigned element, unsigned ddi, unsigned errors,
                                            bool v4) {
  return {byte(0xD | (element & 0xF) << 4),
          byte(element >> 4),
          byte(ddi),
          byte(ddi >> 8),
          byte(errors),
          v4 ? byte(0xF0 | command) : kFill,
          kFill,
          kFill};
}

std::vector<std::uint8_t> status_bytes(unsigned state, unsigned client, unsigned command) {
  return {0xFE, kFill, kFill, kFill, byte(state), byte(client), byte(command), kFill};
}

std::vector<std::uint8_t> client_task_bytes(bool active) {
  return {kFill, kFill, kFill, kFill, byte(active ? 1 : 0), 0, 0, 0};
}

std::vector<std::uint8_t> version_bytes(unsigned version, unsigned boot_s, unsigned options, unsigned booms,
                                        unsigned sections, unsigned channels) {
  return {0x10, byte(version), byte(boot_s), byte(options), 0, byte(booms), byte(sections), byte(channels)};
}

std::vector<std::uint8_t> descriptor_bytes(std::uint8_t code, const std::vector<std::uint8_t>& rest) {
  std::vector<std::uint8_t> out(std::max<std::size_t>(8, rest.size() + 1), kFill);
  out[0] = code;
  std::copy(rest.begin(), rest.end(), out.begin() + 1);
  return out;
}

}  // namespace tramlog::stage
