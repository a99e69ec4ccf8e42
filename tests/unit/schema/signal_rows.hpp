// The fact sheet's signals (signals.csv), and what its sections 4 to 6 say of each code.
#pragma once

#include <cstdint>
#include <fstream>
#include <optional>
#include <sstream>
#include <string>
#include <vector>

#include "schema/reading.hpp"

namespace tramlog::test {

struct Row {
  std::uint32_t pgn = 0;
  std::string message, signal, unit, factor, offset, minimum, maximum, verified;
  std::uint32_t length = 0;  // bytes
  std::uint32_t start = 0;   // bit number
  unsigned bits = 0;
  bool is_signed = false;  // section 0: offset 0 and a negative minimum

  std::string where() const { return message + "." + signal; }
};

inline std::vector<Row> signal_rows() {
  std::ifstream file(std::string(TRAMLOG_SOURCE_DIR) + "/tests/unit/schema/signals.csv");
  std::string line;
  std::getline(file, line);
  std::vector<Row> rows;
  while (std::getline(file, line)) {
    std::vector<std::string> field;
    std::istringstream fields(line);
    for (std::string text; std::getline(fields, text, ',');) field.push_back(text);
    Row row;
    row.pgn = static_cast<std::uint32_t>(std::stoul(field.at(0)));
    row.message = field.at(2);
    row.length = static_cast<std::uint32_t>(std::stoul(field.at(3)));
    row.signal = field.at(7);
    row.start = static_cast<std::uint32_t>((std::stoul(field.at(8)) - 1) * 8 + std::stoul(field.at(9)) - 1);
    row.bits = static_cast<unsigned>(std::stoul(field.at(10)));
    row.factor = field.at(11);
    row.offset = field.at(12);
    row.unit = field.at(13);
    row.minimum = field.at(14);
    row.maximum = field.at(15);
    row.verified = field.at(17);
    row.is_signed = std::stod(row.offset) == 0 && std::stod(row.minimum) < 0;
    rows.push_back(row);
  }
  return rows;
}

inline bool has_word(const std::string& text, const std::string& word) {
  return text.find(word) != std::string::npos;
}

/// Commands, in which the last code asks for nothing and the one before is reserved.
inline bool is_command(const Row& row) {
  return row.signal.starts_with("Cmd") || row.signal.ends_with("Cmd") || row.signal.starts_with("Maintain") ||
         row.signal == "CurvatureCommandStatus";
}

/// What kind of number it is rather than a unit: the schema may leave it out.
inline bool is_no_unit(const std::string& unit) {
  for (const char* kind : {"enum", "count", "raw", "NAME", "PGN", "DDI", "addr", "crc8"})
    if (unit == kind) return true;
  return false;
}

/// Full-range integers: no code is reserved (section 5).
inline bool is_full_range(const Row& row) {
  for (const char* unit : {"NAME", "PGN", "DDI", "addr", "crc8", "raw"})
    if (row.unit == unit) return true;
  return row.signal == "PdElementNumber" || row.signal == "PdCommand" ||
         row.signal == "StopAllTransitionNumber";
}

/// Exit and reason codes that mean something in this column of section 6, beside 0-9 and 49-61.
inline bool is_exit_reason(const Row& row, std::uint64_t raw) {
  if (raw <= 9 || (raw >= 49 && raw <= 61)) return true;
  if (has_word(row.signal, "Hitch")) return raw == 20 || raw == 21;
  if (has_word(row.signal, "Pto")) return raw == 20;
  if (has_word(row.signal, "AuxValve")) return raw == 20 || raw == 21;
  if (has_word(row.signal, "Guidance")) return raw >= 20 && raw <= 26;
  return raw == 22;  // machine selected speed, drive strategy
}

/// Validity of the codes of an "enum" row; none where the sheet does not say.
inline std::optional<Validity> validity_of_code(const Row& row, std::uint64_t raw) {
  using enum Validity;
  const auto is = [&](const char* word) { return has_word(row.signal, word); };
  const auto top = [&](std::uint64_t error, bool listed_below) -> std::optional<Validity> {
    if (raw == error + 1) return not_available;
    if (raw == error) return Validity::error;
    if (listed_below) return valid;
    return std::nullopt;
  };
  switch (row.bits) {
    case 1:
      return valid;
    case 2:
      if (is("GnssIntegrity")) return valid;
      if (is("MassUnits") || is("VolumeUnits") || is("UnitsSystem") || is("TecuClass") ||
          row.signal == "ImplOperatingStateCmd")
        return raw == 3 ? not_available : valid;
      if (is_command(row) || is("Units") || is("TimeFormat") || is("DecimalSymbol"))
        return raw == 2 ? reserved : raw == 3 ? not_available : valid;
      return top(2, true);
    case 3:
      if (is("CruiseControlStates")) return raw == 7 ? not_available : valid;
      if (is("SpeedSource")) return raw == 7 ? not_available : raw >= 5 ? reserved : valid;
      if (raw == 4 || raw == 5) return reserved;  // limit status, working state, mode of dilution
      return top(6, true);
    case 4:
      if (is("TorqueMode")) return raw == 15 ? not_available : raw == 13 ? reserved : valid;
      if (is("StarterMode") && (raw == 11 || raw == 13)) return raw == 11 ? reserved : Validity::error;
      if (is("YawControlMode") && raw >= 6 && raw <= 13) return reserved;
      if (is("ReferenceFrame")) return top(14, raw <= 2);
      if (is("Valve") && is("State")) {
        if (raw == 15) return not_available;
        if (raw >= 4) return raw == 14 && !is_command(row) ? Validity::error : reserved;
        return valid;
      }
      if (is("TimeRelated") && raw >= 7 && raw <= 12) return reserved;
      if (is("GnssMethod")) return top(14, raw <= 8);
      if (is("GnssSystemType")) return raw == 15 ? std::optional{not_available} : top(99, raw <= 8);
      if (is("TimeSource")) return raw == 15 ? std::optional{not_available} : top(99, raw <= 5);
      if (is("PdCommand")) return raw == 11 || raw == 12 ? reserved : valid;
      return top(14, true);
    case 5:
      if (raw == 31) return not_available;
      if (is("PtoGovernorState")) return raw >= 20 ? reserved : valid;
      if (is("ControlModeCmd")) return raw <= 16 ? std::optional{valid} : std::nullopt;
      if (is("ControlModeResponse")) return raw <= 22 ? std::optional{valid} : std::nullopt;
      return std::nullopt;
    case 6:
      if (raw >= 62) return top(62, true);
      return is_exit_reason(row, raw) ? valid : reserved;
    case 8:
      if (raw == 255) return not_available;
      if (raw == 254) return Validity::error;
      if (is("DateFormat")) return raw <= 5 ? valid : reserved;
      if (raw >= 7 && raw <= 236) return reserved;
      if (raw == 253) return is("Request") ? std::nullopt : std::optional{valid};
      return valid;  // drive strategy
    default:
      return std::nullopt;
  }
}

/// Validity of the codes of any other row, before its range is looked at (section 5).
inline Validity validity_of_number(const Row& row, std::uint64_t raw) {
  using enum Validity;
  const std::uint64_t all_ones = row.bits == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << row.bits) - 1;
  if (row.signal == "PdElementNumber" || row.signal == "PdDdi")  // process data, 1.5: not applicable
    return raw == all_ones ? not_available : valid;
  if (is_full_range(row)) return valid;
  if ((row.signal == "Month" || row.signal == "Day") && raw == 0) return reserved;        // section 4: null
  if (row.signal == "HeartbeatSequenceNumber" || row.signal == "OperatorStatusSequence")  // section 4
    return raw == 254 ? error : raw == 252 || raw == 253 ? reserved : valid;
  if (row.unit == "ASCII") return raw == 0 ? error : raw == all_ones ? not_available : valid;
  if (row.pgn >= 65536) {  // NMEA 2000
    const std::uint64_t top = row.is_signed ? all_ones >> 1 : all_ones;
    if (raw > top) return valid;
    if (raw == top) return not_available;
    if (raw == top - 1) return error;
    if (raw == top - 2 && row.bits < 64) return reserved;
    return valid;
  }
  if (row.bits == 4) return raw == 15 ? not_available : raw == 14 ? error : valid;
  const std::uint64_t top_byte = raw >> (row.bits - 8);
  if (top_byte == 0xFF) return not_available;
  if (top_byte == 0xFE) return error;
  return top_byte >= 0xFB ? reserved : valid;
}

}  // namespace tramlog::test
