// Bytes of network management and diagnostics, written down from the fact sheet (network and
// diagnostics, 2.1, 7.2, 7.3, 7.5). Nothing here is shared with the code that decodes them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "stage/scenario.hpp"

namespace tramlog::stage {

struct NameFields {
  bool self_configurable = true;
  unsigned industry_group = 2;
  unsigned device_class_instance = 0;
  unsigned device_class = 0;
  unsigned function = 0;
  unsigned function_instance = 0;
  unsigned ecu_instance = 0;
  unsigned manufacturer = 0;
  unsigned identity = 0;
};
std::uint64_t encode_name(const NameFields& fields);
/// The eight data bytes of a claim, B1 = NAME bits 0-7.
std::vector<std::uint8_t> claim_bytes(std::uint64_t name);

struct ActiveDtc {
  std::uint32_t spn = 0;
  std::uint8_t fmi = 0;
  std::uint8_t occurrence_count = 1;
};
/// DM1 of a pure ISO 11783 controller: lamps not available; one DTC or none fill a single frame.
std::vector<std::uint8_t> encode_dm1(const std::vector<ActiveDtc>& dtcs);

std::vector<std::uint8_t> encode_software(const std::vector<std::string>& texts, SoftwareForm form);
/// Three bytes, least significant first.
std::vector<std::uint8_t> pgn_bytes(Pgn pgn);

}  // namespace tramlog::stage
