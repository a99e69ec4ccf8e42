#include "parcel/private_extent.hpp"

#include <iterator>

#include "isobus/identification.hpp"

namespace tramlog {
namespace {

constexpr Pgn kVehicleIdentification = 0xFEEC, kMostPgn = 0x1FFFF;

constexpr TextFields kTextFields[] = {
    {kPgnEcuIdentification, 6, 1, 1},
    {kPgnProductIdentification, 3, 0, 0},    // the code: of a kind of units, or of this unit
    {kPgnComponentIdentification, 4, 2, 3},  // serial and unit number
    {kVehicleIdentification, 1, 0, 0},
};

constexpr std::size_t kFrameBytes = 8;

/// Messages of another length than one frame, and those of which less is defined.
struct Extent {
  Pgn pgn;
  std::size_t bytes;
};
constexpr Extent kExtents[] = {
    {0xEA00, 3},    // request: a PGN
    {0xFE0D, 1},    // working set master: members
    {0xF0E4, 1},    // heartbeat: sequence
    {0xFED8, 9},    // commanded address: NAME, address
    {0xFEE3, 39},   // engine configuration
    {126996, 134},  // product information
    {129044, 20},   // datum
    {129538, 13},   // control status of the receiver
    {129542, 18},   // position noise statistics
    {130577, 14},   // direction data
    {0xFEDA, kAllBytes}, {0xCB00, kAllBytes}, {0xE600, kAllBytes}, {0xE700, kAllBytes}, {0xAA00, kAllBytes},
    {0xAB00, kAllBytes}, {126998, kAllBytes}, {126208, kAllBytes}, {129284, kAllBytes}, {129540, kAllBytes},
};

/// 129029: 43 bytes, the last of them tells how many reference stations follow, 4 bytes each.
std::size_t position_bytes(Bytes data) {
  constexpr std::size_t kFixed = 43, kStation = 4;
  if (data.size() < kFixed) return kFixed;
  const std::size_t stations = data[kFixed - 1];
  return stations == 0xFF ? kFixed : kFixed + stations * kStation;
}

/// 126464: which list, then PGNs of 3 bytes. The first that is none ends it.
std::size_t pgn_list_bytes(Bytes data) {
  std::size_t end = 1;
  while (end + 3 <= data.size() && load_le24(data.data() + end) <= kMostPgn) end += 3;
  return end;
}

/// 64654: reserved, entries, each number, generation, count of option bytes, option bytes (fact sheet,
/// diagnostics, 7.9). What claims more options than any functionality has is no entry.
std::size_t functionality_bytes(Bytes data) {
  constexpr std::size_t kMostOptions = 16;
  std::size_t end = 2;
  for (std::size_t left = data.size() < end ? 0 : data[1]; left > 0 && end + 3 <= data.size(); --left) {
    const std::size_t options = data[end + 2];
    if (options > kMostOptions) break;
    end += 3 + options;
  }
  return end;
}

/// 126993: period, sequence, state; the rest is reserved (ones). Anything else is no heartbeat: it may be the
/// frames of a longer message.
std::size_t heartbeat_bytes(Bytes data) {
  constexpr std::size_t kDefined = 4;
  constexpr std::uint8_t kReserved = 0xC0;
  if (data.size() != kFrameBytes) return 0;
  const Bytes rest = data.subspan(kDefined);
  const bool is_one = (data[kDefined - 1] & kReserved) == kReserved &&
                      std::all_of(rest.begin(), rest.end(), [](std::uint8_t b) { return b == 0xFF; });
  return is_one ? kDefined : 0;
}

/// DM1, DM2: lamps, then trouble codes of 4 bytes (fact sheet, diagnostics, 7.2). The first that is a text
/// ends it: no control character in it, and a number (SPN) between those of the standards and those of the
/// makers.
std::size_t trouble_bytes(Bytes data) {
  constexpr std::size_t kLamps = 2, kCode = 4;
  constexpr std::uint32_t kFirstUnassigned = 65536, kFirstOfMakers = 516096;
  const auto is_control = [](std::uint8_t b) { return b < 0x20 || b == 0x7F; };
  std::size_t end = kLamps;
  for (; end + kCode <= data.size(); end += kCode) {
    const std::uint8_t* code = data.data() + end;
    const std::uint32_t number = load_le16(code) | std::uint32_t{code[2]} >> 5 << 16;
    if (number >= kFirstUnassigned && number < kFirstOfMakers && std::none_of(code, code + kCode, is_control))
      break;
  }
  return end;
}

std::size_t behind_fields(std::size_t count, Bytes data) {
  std::size_t end = 0;
  for_each_text_field(data, [&](std::size_t at, std::size_t length) {
    if (count == 0) return;
    --count;
    end = at + length + 1;  // with its '*'
  });
  return end;
}

}  // namespace

const TextFields* text_fields(Pgn pgn) {
  const auto found = std::find_if(std::begin(kTextFields), std::end(kTextFields),
                                  [pgn](const TextFields& fields) { return fields.pgn == pgn; });
  return found == std::end(kTextFields) ? nullptr : found;
}

std::size_t known_bytes(Pgn pgn, Bytes data) {
  if (const TextFields* fields = text_fields(pgn)) return behind_fields(fields->count, data);
  switch (pgn) {
    case 0xFECA:
    case 0xFECB:
      return trouble_bytes(data);
    case 0xFC8E:
      return functionality_bytes(data);
    case 126464:
      return pgn_list_bytes(data);
    case 126993:
      return heartbeat_bytes(data);
    case 129029:
      return position_bytes(data);
    default:
      break;
  }
  const auto found = std::find_if(std::begin(kExtents), std::end(kExtents),
                                  [pgn](const Extent& extent) { return extent.pgn == pgn; });
  return found == std::end(kExtents) ? kFrameBytes : found->bytes;
}

}  // namespace tramlog
