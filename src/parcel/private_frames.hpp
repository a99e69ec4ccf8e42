// Bytes of frames that are no message: announcements of transfers, error frames.
#pragma once

#include <cstdint>
#include <span>

#include "can/can_id.hpp"

namespace tramlog {

/// TP.CM (60416) or ETP.CM (51200), ISO 11783-3 5.10 and 5.11: reserved bytes become FF, and all bytes behind
/// a control byte that the standard does not define.
void blank_undefined_control(Pgn pgn, std::span<std::uint8_t> data);

/// An error frame of this class mask (linux/can/error.h): bytes that no bit of the mask explains, the
/// reserved one and codes that are not defined become 0. The counters (bytes 7 and 8) stay, because older
/// drivers fill them without telling.
void blank_undefined_errors(std::uint32_t mask, std::span<std::uint8_t> data);

}  // namespace tramlog
