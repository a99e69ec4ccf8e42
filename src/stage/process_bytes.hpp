// Messages between task controller and client, byte by byte from the fact sheet (process data, 1 to 3).
// Nothing here is shared with the code that decodes them.
#pragma once

#include <cstdint>
#include <vector>

namespace tramlog::stage {

/// Commands of B1 bits 4-1 (1.3).
enum Command : unsigned {
  kRequestValue = 0x2,
  kValue = 0x3,
  kTimeInterval = 0x4,
  kDistanceInterval = 0x5,
  kMinimumThreshold = 0x6,
  kMaximumThreshold = 0x7,
  kChangeThreshold = 0x8,
  kSetAndAcknowledge = 0xA,
};

/// 1.2: commands 2 to A.
std::vector<std::uint8_t> process_bytes(unsigned command, unsigned element, unsigned ddi, std::int64_t value);
/// 1.5: PDACK. `errors` 0: accepted.
std::vector<std::uint8_t> acknowledge_bytes(unsigned command, unsigned element, unsigned ddi, unsigned errors,
                                            bool v4);
/// 2.2: B5 state, B6 client, B7 command.
std::vector<std::uint8_t> status_bytes(unsigned state, unsigned client, unsigned command);
/// 2.3
std::vector<std::uint8_t> client_task_bytes(bool active);
/// 2.1
std::vector<std::uint8_t> version_bytes(unsigned version, unsigned boot_s, unsigned options, unsigned booms,
                                        unsigned sections, unsigned channels);
/// 3.1: B1 and what follows, filled with FF to eight bytes.
std::vector<std::uint8_t> descriptor_bytes(std::uint8_t code, const std::vector<std::uint8_t>& rest);

void put_le(std::vector<std::uint8_t>& out, std::uint64_t value, unsigned bytes);

}  // namespace tramlog::stage
