#include "isobus/diagnostics.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr std::size_t kLampBytes = 2;
constexpr std::size_t kDtcBytes = 4;

constexpr Lamp lamp_at(std::uint8_t byte, unsigned bit) {
  return static_cast<Lamp>(byte >> bit & 3);
}

bool all_equal(Bytes bytes, std::uint8_t value) {
  return std::all_of(bytes.begin(), bytes.end(), [=](std::uint8_t b) { return b == value; });
}

/// Fact sheet 7.3. With CM = 1 the number is read as version 4 as well: the older orders cannot be told
/// apart.
Dtc read_dtc(const std::uint8_t* at) {
  Dtc dtc;
  dtc.spn = std::uint32_t{at[0]} | std::uint32_t{at[1]} << 8 | std::uint32_t{at[2]} >> 5 << 16;
  dtc.fmi = at[2] & 0x1F;
  dtc.old_conversion = (at[3] & 0x80) != 0;
  const std::uint8_t count = at[3] & 0x7F;
  if (count != 0x7F) dtc.occurrence_count = count;
  return dtc;
}

}  // namespace

DtcList parse_dtcs(Bytes data) {
  DtcList list;
  list.malformed = data.size() < kLampBytes + kDtcBytes;
  if (data.empty()) return list;
  list.lamps = {lamp_at(data[0], 6), lamp_at(data[0], 4), lamp_at(data[0], 2), lamp_at(data[0], 0)};
  if (data.size() <= kLampBytes) return list;

  const Bytes body = data.subspan(kLampBytes);
  std::size_t at = 0;
  for (; body.size() - at >= kDtcBytes; at += kDtcBytes) {
    const Bytes code = body.subspan(at, kDtcBytes);
    if (all_equal(code, 0x00) || all_equal(code, 0xFF)) continue;
    list.dtcs.push_back(read_dtc(code.data()));
  }
  // A single frame has two spare bytes behind its DTC; in a longer message a rest is a torn DTC, unless it
  // pads.
  const Bytes rest = body.subspan(at);
  if (data.size() > 8 && !all_equal(rest, 0xFF) && !all_equal(rest, 0x00)) list.malformed = true;
  return list;
}

}  // namespace tramlog
