#include "isobus/diagnostics.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>

namespace tramlog {
namespace {

constexpr std::size_t kLampBytes = 2;
constexpr std::size_t kDtcBytes = 4;
constexpr std::uint32_t kFirstAddressSpn = 2000;  // fact sheet 3.3
constexpr std::uint32_t kLastAddressSpn = 2255;

constexpr const char* kFmiTexts[] = {
    "value too high, most severe level",
    "value too low, most severe level",
    "value erratic, intermittent or implausible",
    "voltage too high or shorted to supply",
    "voltage too low or shorted to ground",
    "current too low or open circuit",
    "current too high or short to ground",
    "mechanical system does not respond",
    "abnormal frequency, pulse width or period",
    "abnormal update rate (message missing or late)",
    "abnormal rate of change",
    "root cause not known",
    "device or component faulty",
    "out of calibration",
    "special instructions",
    "value too high, least severe",
    "value too high, moderate",
    "value too low, least severe",
    "value too low, moderate",
    "received network data in error",
    "data drifted high",
    "data drifted low",
};
constexpr std::uint8_t kFmiConditionExists = 31;

struct SpnText {
  std::uint32_t spn;
  const char* text;
};
constexpr SpnText kSpnTexts[] = {
    {168, "battery potential"},      {190, "engine speed"},
    {233, "component unit number"},  {234, "software identification"},
    {237, "vehicle identification"}, {586, "component make"},
    {587, "component model"},        {588, "component serial number"},
    {623, "red stop lamp"},          {624, "amber warning lamp"},
    {639, "J1939 network 1"},        {965, "number of software identification fields"},
    {987, "protect lamp"},           {1213, "malfunction lamp"},
    {2901, "ECU part number"},       {2902, "ECU serial number"},
    {2903, "ECU location"},          {2904, "ECU type"},
    {4304, "ECU manufacturer name"}, {6714, "ECU hardware version"},
};

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

std::string fmi_text(std::uint8_t fmi) {
  if (fmi < std::size(kFmiTexts)) return kFmiTexts[fmi];
  if (fmi == kFmiConditionExists) return "condition exists";
  return fmt::format("reserved (FMI {})", fmi);
}

std::optional<std::string> spn_text(std::uint32_t spn) {
  if (spn >= kFirstAddressSpn && spn <= kLastAddressSpn)
    return fmt::format("control function at source address {}", spn - kFirstAddressSpn);
  const auto* found = std::find_if(std::begin(kSpnTexts), std::end(kSpnTexts),
                                   [=](const SpnText& entry) { return entry.spn == spn; });
  if (found == std::end(kSpnTexts)) return std::nullopt;
  return found->text;
}

}  // namespace tramlog
