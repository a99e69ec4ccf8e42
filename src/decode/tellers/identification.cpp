// Identification texts (ISO 11783-12; fact sheet, network and diagnostics, 7.5).
#include "isobus/identification.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/utf8.hpp"
#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller identification;

namespace {

/// A field that is empty is not worth a line. The texts are printable already; each is at most 200 bytes of
/// the message, four times as many when shown.
void add(std::vector<Remark>& remarks, const char* name, const std::string& text) {
  if (!text.empty()) remarks.push_back({name, "\"" + text + "\""});
}

void tell_software(Bytes data, std::vector<Remark>& remarks) {
  const SoftwareIdentification found = parse_software_identification(data);
  const std::size_t told = std::min(found.texts.size(), kMaxRemarkItems);
  for (std::size_t i = 0; i < told; ++i)
    remarks.push_back({fmt::format("software {}", i + 1), "\"" + found.texts[i] + "\""});
  if (told < found.texts.size())
    remarks.push_back({"software", fmt::format("and {} more texts", found.texts.size() - told)});
  if (found.count_disagrees)
    remarks.push_back({"count", fmt::format("{} texts are announced, {} are there", *found.count_told,
                                            found.texts.size())});
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  const std::size_t before = remarks.size();
  switch (message.pgn) {
    case kPgnSoftwareIdentification:
      tell_software(message.data, remarks);
      break;
    case kPgnEcuIdentification: {
      const EcuIdentification ecu = parse_ecu_identification(message.data);
      add(remarks, "part number", ecu.part_number);
      add(remarks, "serial number", ecu.serial_number);
      add(remarks, "location", ecu.location);
      add(remarks, "type", ecu.type);
      add(remarks, "manufacturer", ecu.manufacturer);
      add(remarks, "hardware version", ecu.hardware_version);
      break;
    }
    case kPgnProductIdentification: {
      const ProductIdentification product = parse_product_identification(message.data);
      add(remarks, "product code", product.code);
      add(remarks, "brand", product.brand);
      add(remarks, "model", product.model);
      break;
    }
    default: {
      const ComponentIdentification component = parse_component_identification(message.data);
      add(remarks, "make", component.make);
      add(remarks, "model", component.model);
      add(remarks, "serial number", component.serial_number);
      add(remarks, "unit number", component.unit_number);
    }
  }
  if (remarks.size() == before) remarks.push_back({"identification", "all fields are empty"});
}

}  // namespace

const Teller identification{{kPgnSoftwareIdentification, kPgnEcuIdentification, kPgnProductIdentification,
                             kPgnComponentIdentification},
                            tell};

}  // namespace tramlog::tellers
