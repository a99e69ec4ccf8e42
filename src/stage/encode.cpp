#include "stage/encode.hpp"

#include <algorithm>

namespace tramlog::stage {

std::uint64_t encode_name(const NameFields& f) {
  std::uint64_t name = f.identity & 0x1FFFFFu;
  name |= std::uint64_t{f.manufacturer & 0x7FFu} << 21;
  name |= std::uint64_t{f.ecu_instance & 0x7u} << 32;
  name |= std::uint64_t{f.function_instance & 0x1Fu} << 35;
  name |= std::uint64_t{f.function & 0xFFu} << 40;
  name |= std::uint64_t{f.device_class & 0x7Fu} << 49;  // bit 48 is reserved
  name |= std::uint64_t{f.device_class_instance & 0xFu} << 56;
  name |= std::uint64_t{f.industry_group & 0x7u} << 60;
  name |= std::uint64_t{f.self_configurable ? 1u : 0u} << 63;
  return name;
}

std::vector<std::uint8_t> claim_bytes(std::uint64_t name) {
  std::vector<std::uint8_t> bytes;
  for (int i = 0; i < 8; ++i) bytes.push_back(static_cast<std::uint8_t>(name >> (8 * i)));
  return bytes;
}

std::vector<std::uint8_t> encode_dm1(const std::vector<ActiveDtc>& dtcs) {
  std::vector<std::uint8_t> bytes = {0xFF, 0xFF};
  for (const ActiveDtc& dtc : dtcs) {
    bytes.push_back(static_cast<std::uint8_t>(dtc.spn));
    bytes.push_back(static_cast<std::uint8_t>(dtc.spn >> 8));
    bytes.push_back(static_cast<std::uint8_t>((dtc.spn >> 16 & 7u) << 5 | (dtc.fmi & 31u)));
    bytes.push_back(static_cast<std::uint8_t>(std::min<unsigned>(dtc.occurrence_count, 126)));
  }
  if (dtcs.empty()) bytes.insert(bytes.end(), 4, 0);
  while (bytes.size() < 8) bytes.push_back(0xFF);
  return bytes;
}

std::vector<std::uint8_t> encode_software(const std::vector<std::string>& texts, SoftwareForm form) {
  std::vector<std::uint8_t> bytes;
  if (form != SoftwareForm::no_count) bytes.push_back(static_cast<std::uint8_t>(texts.size()));
  for (const std::string& text : texts) {
    bytes.insert(bytes.end(), text.begin(), text.end());
    bytes.push_back('*');
  }
  if (form == SoftwareForm::no_final_star && bytes.size() > 1) bytes.pop_back();
  if (form == SoftwareForm::final_zero) bytes.push_back(0);
  while (bytes.size() < 8) bytes.push_back(0xFF);
  return bytes;
}

std::vector<std::uint8_t> pgn_bytes(Pgn pgn) {
  return {static_cast<std::uint8_t>(pgn), static_cast<std::uint8_t>(pgn >> 8),
          static_cast<std::uint8_t>(pgn >> 16)};
}

}  // namespace tramlog::stage
