#include "isobus/identification.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <iterator>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr std::uint8_t kDelimiter = 0x2A;         // '*'
constexpr std::uint8_t kFirstTextByte = 0x20;     // a smaller B1 is the number of fields
constexpr std::size_t kMaxSoftwareTexts = 125;    // SPN 965
constexpr std::size_t kMaxTextBytes = 200;        // software, ECU and component identification
constexpr std::size_t kMaxProductTextBytes = 50;  // product identification

/// Without closing 0x00 and FF padding.
Bytes without_padding(Bytes bytes) {
  while (!bytes.empty() && (bytes.back() == 0x00 || bytes.back() == 0xFF))
    bytes = bytes.first(bytes.size() - 1);
  return bytes;
}

std::string field_text(Bytes field, std::size_t max_bytes) {
  field = without_padding(field.first(std::min(field.size(), max_bytes)));
  const auto text = trimmed({reinterpret_cast<const char*>(field.data()), field.size()});
  return printable_latin1({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
}

/// Calls `use` with each field; one that is not ended by '*' counts if there is anything in it.
template <class Use>
void for_each_field(Bytes data, Use use) {
  data = without_padding(data);
  while (!data.empty()) {
    const auto stop = std::find(data.begin(), data.end(), kDelimiter);
    const auto length = static_cast<std::size_t>(stop - data.begin());
    use(data.first(length));
    data = data.subspan(std::min(length + 1, data.size()));
  }
}

/// The first `count` fields; missing ones stay empty, further ones are passed over.
template <std::size_t count>
std::array<std::string, count> fixed_fields(Bytes data, std::size_t max_bytes) {
  std::array<std::string, count> fields;
  std::size_t next = 0;
  for_each_field(data, [&](Bytes field) {
    if (next < count) fields[next++] = field_text(field, max_bytes);
  });
  return fields;
}

}  // namespace

SoftwareIdentification parse_software_identification(Bytes data) {
  SoftwareIdentification result;
  if (data.empty()) return result;
  if (data[0] < kFirstTextByte) {
    result.count_told = data[0];
    data = data.subspan(1);
  }
  std::size_t found = 0;
  for_each_field(data, [&](Bytes field) {
    if (found++ < kMaxSoftwareTexts) result.texts.push_back(field_text(field, kMaxTextBytes));
  });
  result.count_disagrees = result.count_told && *result.count_told != found;
  return result;
}

EcuIdentification parse_ecu_identification(Bytes data) {
  auto f = fixed_fields<6>(data, kMaxTextBytes);
  return {std::move(f[0]), std::move(f[1]), std::move(f[2]),
          std::move(f[3]), std::move(f[4]), std::move(f[5])};
}

ProductIdentification parse_product_identification(Bytes data) {
  auto f = fixed_fields<3>(data, kMaxProductTextBytes);
  return {std::move(f[0]), std::move(f[1]), std::move(f[2])};
}

ComponentIdentification parse_component_identification(Bytes data) {
  auto f = fixed_fields<4>(data, kMaxTextBytes);
  return {std::move(f[0]), std::move(f[1]), std::move(f[2]), std::move(f[3])};
}

std::vector<Functionality> parse_functionalities(Bytes data) {
  // B1 is reserved, B2 the number of entries; an entry is number, generation, count of option bytes, option
  // bytes.
  std::vector<Functionality> entries;
  if (data.size() < 2) return entries;
  std::size_t left = data[1];
  Bytes rest = data.subspan(2);
  for (; left > 0 && rest.size() >= 3; --left) {
    const std::size_t options = rest[2];
    if (rest.size() - 3 < options) break;
    const Bytes bytes = rest.subspan(3, options);
    entries.push_back({rest[0], rest[1], {bytes.begin(), bytes.end()}});
    rest = rest.subspan(3 + options);
  }
  return entries;
}

std::string functionality_term(std::uint8_t number) {
  // Gaps are numbers that no source confirms (fact sheet 7.9).
  static constexpr const char* kTerms[] = {
      "minimum control function",
      "universal terminal, server",
      "universal terminal, working set",
      "AUX-O inputs",
      "AUX-O functions",
      "AUX-N inputs",
      "AUX-N functions",
      "TC-BAS server",
      "TC-BAS client",
      "TC-GEO server",
      "TC-GEO client",
      "TC-SC server",
      "TC-SC client",
      "basic tractor ECU, server",
      "basic tractor ECU, client",
      "TIM server",
      "TIM client",
      "file server",
      "file server client",
      nullptr,
      nullptr,
      "implement stop operations server",
      "implement stop operations client",
      nullptr,
      "data logger server",
      "data logger client",
  };
  if (number < std::size(kTerms) && kTerms[number]) return kTerms[number];
  return fmt::format("functionality {}", number);
}

}  // namespace tramlog
