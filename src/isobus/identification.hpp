// What a controller says about itself when asked (ISO 11783-12; fact sheet, network and
// diagnostics, 7.5, 7.9).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

inline constexpr Pgn kPgnSoftwareIdentification = 0xFEDA;   // 65242
inline constexpr Pgn kPgnEcuIdentification = 0xFDC5;        // 64965
inline constexpr Pgn kPgnProductIdentification = 0xFC8D;    // 64653
inline constexpr Pgn kPgnComponentIdentification = 0xFEEB;  // 65259
inline constexpr Pgn kPgnFunctionalities = 0xFC8E;          // 64654

/// Texts are printable UTF-8 (printable_latin1), trimmed. Padding (FF) and a closing 0x00 are stripped.
struct SoftwareIdentification {
  std::vector<std::string> texts;      // in order, as reported
  std::optional<unsigned> count_told;  // B1 if it was a count (B1 < 0x20)
  bool count_disagrees = false;        // told a different number than found
};
/// Follows the parser traps of 7.5. At most 125 texts of at most 200 bytes are kept.
SoftwareIdentification parse_software_identification(Bytes data);

struct EcuIdentification {
  std::string part_number, serial_number, location, type, manufacturer, hardware_version;
};
EcuIdentification parse_ecu_identification(Bytes data);

struct ProductIdentification {
  std::string code, brand, model;
};
ProductIdentification parse_product_identification(Bytes data);

struct ComponentIdentification {
  std::string make, model, serial_number, unit_number;
};
ComponentIdentification parse_component_identification(Bytes data);

struct Functionality {
  std::uint8_t number = 0;
  std::uint8_t generation = 0;
  std::vector<std::uint8_t> options;
};
/// Stops at the first entry that does not fit; what was read is kept.
std::vector<Functionality> parse_functionalities(Bytes data);
/// Term of 7.9, or "functionality 19" where unverified.
std::string functionality_term(std::uint8_t number);

}  // namespace tramlog
