#include "parcel/private_allowed.hpp"

#include <algorithm>
#include <iterator>

#include "isobus/process_data.hpp"

namespace tramlog {
namespace {

struct Range {
  Pgn first, last;
};

/// Not here on purpose: memory access (DM14 to DM16), NAME management, network interconnection, sequence
/// control, the "transfer" of any message inside another, certification and extended functionalities,
/// authentication, tractor implement management, driver's identification, makers' own.
constexpr Range kLookedAt[] = {
    // Network, diagnostics, identification
    {0xEA00, 0xEA00},
    {0xE800, 0xE800},
    {0xCC00, 0xCC00},
    {0xFE0E, 0xFE0E},
    {0xEE00, 0xEE00},
    {0xFED8, 0xFED8},
    {0xFE0C, 0xFE0D},
    {0xCB00, 0xCB00},
    {0xE600, 0xE600},
    {0xE700, 0xE700},
    {0xAA00, 0xAA00},
    {0xAB00, 0xAB00},
    {0xFECA, 0xFECC},
    {0xFED3, 0xFED3},
    {0xDF00, 0xDF00},
    {0xC300, 0xC300},
    {0xFDC5, 0xFDC5},
    {0xFEDA, 0xFEDA},
    {0xFC8D, 0xFC8E},
    {0xFEEB, 0xFEEC},
    {0xFD32, 0xFD32},
    // Positioning
    {126208, 126208},
    {126464, 126464},
    {126992, 126993},
    {126996, 126996},
    {126998, 126998},
    {127245, 127245},
    {127250, 127251},
    {127257, 127258},
    {129025, 129026},
    {129029, 129029},
    {129033, 129033},
    {129044, 129044},
    {129283, 129284},
    {129538, 129540},
    {129542, 129542},
    {130577, 130577},
    {0xFEF3, 0xFEF3},
    {0xFEE8, 0xFEE8},
    // Power train
    {0x0000, 0x0000},
    {0x0100, 0x0100},
    {0xF000, 0xF006},
    {0xFD92, 0xFD92},
    {0xFDCC, 0xFDCC},
    {0xFDD6, 0xFDD7},
    {0xFE56, 0xFE56},
    {0xFE68, 0xFE68},
    {0xFE6C, 0xFE6C},
    {0xFEA4, 0xFEA4},
    {0xFEBD, 0xFEBD},
    {0xFEBF, 0xFEBF},
    {0xFEC1, 0xFEC1},
    {0xFEDB, 0xFEDC},
    {0xFEDF, 0xFEE0},
    {0xFEE3, 0xFEE7},
    {0xFEE9, 0xFEEA},
    {0xFEED, 0xFEF2},
    {0xFEF4, 0xFEF8},
    {0xFEFA, 0xFEFA},
    {0xFEFC, 0xFEFC},
    {0xFEFF, 0xFEFF},
    // Tractor and implement
    {0x0700, 0x0700},
    {0xAC00, 0xAC00},
    {0xAD00, 0xAD00},
    {0xC400, 0xC400},
    {0xC500, 0xC500},
    {0xC600, 0xC600},
    {0xD000, 0xD000},
    {0xF022, 0xF022},
    {0xF0E4, 0xF0E4},
    {0xF0FF, 0xF102},
    {0xF13E, 0xF13F},
    {0xFB82, 0xFB84},
    {0xFC0E, 0xFC0F},
    {0xFCCD, 0xFCCE},
    {0xFD02, 0xFD03},
    {0xFD43, 0xFD43},
    {0xFE08, 0xFE0B},
    {0xFE0F, 0xFE3F},
    {0xFE40, 0xFE49},
};

constexpr std::uint8_t kTerminalNumbers[] = {
    0x12, 0x21, 0x23, 0x25, 0x26, 0x92, 0xA0, 0xA1, 0xA2, 0xA3, 0xA4, 0xA5, 0xA6,
    0xA7, 0xA8, 0xA9, 0xAA, 0xAB, 0xAC, 0xAD, 0xAE, 0xB0, 0xB1, 0xB2, 0xB4, 0xB6,
    0xB7, 0xBA, 0xBB, 0xBD, 0xBE, 0xC0, 0xC2, 0xC3, 0xC7, 0xDF, 0xFD, 0xFE, 0xFF,
};
/// Answers, and what the operator presses.
constexpr std::uint8_t kOnlyFromTerminal[] = {
    0x00, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x09, 0x0A, 0xD0, 0xD1, 0xD2,
};

template <std::size_t n>
bool contains(const std::uint8_t (&list)[n], std::uint8_t code) {
  return std::find(std::begin(list), std::end(list), code) != std::end(list);
}

}  // namespace

bool is_looked_at(Pgn pgn) {
  return std::any_of(std::begin(kLookedAt), std::end(kLookedAt),
                     [pgn](const Range& range) { return pgn >= range.first && pgn <= range.last; });
}

std::size_t harmless_terminal_bytes(Pgn pgn, std::uint8_t function) {
  const bool from_terminal = pgn == 0xE600;
  if (contains(kTerminalNumbers, function) || (from_terminal && contains(kOnlyFromTerminal, function)))
    return 8;
  if (from_terminal) return function == 0x08 ? 4 : 1;  // a string that was typed: object, length
  if (function == 0xB3) return 5;                      // a string: object, length
  if (function == 0xAF) return 4;                      // an attribute: object, which
  return 1;
}

std::size_t harmless_process_bytes(std::uint8_t first) {
  switch (static_cast<ProcessCommand>(first & 0x0F)) {
    case ProcessCommand::device_descriptor:
      break;
    case ProcessCommand::reserved_b:
    case ProcessCommand::reserved_c:
      return 1;
    default:
      return 8;
  }
  switch (static_cast<DescriptorMessage>(first)) {
    case DescriptorMessage::request_structure_label:
    case DescriptorMessage::structure_label:
    case DescriptorMessage::transfer:
      return 0;
    case DescriptorMessage::change_designator:
      return 4;  // object, length
    case DescriptorMessage::request_localization_label:
    case DescriptorMessage::localization_label:
    case DescriptorMessage::request_transfer:
    case DescriptorMessage::request_transfer_response:
    case DescriptorMessage::transfer_response:
    case DescriptorMessage::activate:
    case DescriptorMessage::activate_response:
    case DescriptorMessage::remove:
    case DescriptorMessage::remove_response:
    case DescriptorMessage::change_designator_response:
      return 8;
  }
  return 1;
}

}  // namespace tramlog
