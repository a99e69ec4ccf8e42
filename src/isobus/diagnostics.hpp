// DM1, DM2 and their trouble codes (ISO 11783-12 on J1939-73; fact sheet, network and diagnostics, 7.2
// to 7.4).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

inline constexpr Pgn kPgnDm1 = 0xFECA;   // 65226 active
inline constexpr Pgn kPgnDm2 = 0xFECB;   // 65227 previously active
inline constexpr Pgn kPgnDm3 = 0xFECC;   // 65228 clear previously active (requested)
inline constexpr Pgn kPgnDm11 = 0xFED3;  // 65235 clear active (requested)
inline constexpr Pgn kPgnDm13 = 0xDF00;  // 57088 stop/start broadcast
inline constexpr Pgn kPgnDm22 = 0xC300;  // 49920 clear one

struct Dtc {
  std::uint32_t spn = 0;                         // 19 bit; 520192..524287 proprietary
  std::uint8_t fmi = 0;                          // 5 bit
  std::optional<std::uint8_t> occurrence_count;  // 0..126; none = not available (127)
  bool old_conversion = false;                   // CM = 1: the SPN may be encoded in an older way
};

enum class Lamp : std::uint8_t { off = 0, on = 1, error = 2, not_available = 3 };
struct Lamps {
  Lamp malfunction = Lamp::not_available, red_stop = Lamp::not_available, amber_warning = Lamp::not_available,
       protect = Lamp::not_available;
};

struct DtcList {
  Lamps lamps;
  std::vector<Dtc> dtcs;   // empty: "no fault" message
  bool malformed = false;  // shorter than a lamp field and one DTC; dtcs holds what could be read
};
/// DM1 or DM2 payload: B1 lamps, B2 flash, then 4 bytes a DTC; an all-zero DTC is no fault, FF padding is
/// ignored.
DtcList parse_dtcs(Bytes data);

constexpr bool is_proprietary_spn(std::uint32_t spn) {
  return spn >= 520192;
}
}  // namespace tramlog
