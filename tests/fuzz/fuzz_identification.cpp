// Everything that reads a whole message or a text from the bus. B1 chooses; the rest is the message.
#include <cstdint>
#include <cstdlib>
#include <string>

#include "base/text.hpp"
#include "base/time.hpp"
#include "base/utf8.hpp"
#include "isobus/acknowledgement.hpp"
#include "isobus/diagnostics.hpp"
#include "isobus/identification.hpp"
#include "isobus/name.hpp"

using namespace tramlog;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

/// Safe to print: valid UTF-8 without control characters.
void require_printable(const std::string& text) {
  for (std::size_t at = 0; at < text.size();) {
    const CodePoint c = decode_utf8(text, at);
    require(c.valid && c.value >= 0x20 && !(c.value >= 0x7F && c.value < 0xA0));
    at += c.length;
  }
}

void identification(Bytes data) {
  const SoftwareIdentification software = parse_software_identification(data);
  require(software.texts.size() <= 125);
  for (const std::string& text : software.texts) {
    require_printable(text);
    require(text.size() <= 200 * 4);
  }
  const EcuIdentification ecu = parse_ecu_identification(data);
  for (const auto* text : {&ecu.part_number, &ecu.serial_number, &ecu.location, &ecu.type, &ecu.manufacturer,
                           &ecu.hardware_version})
    require_printable(*text);
  const ProductIdentification product = parse_product_identification(data);
  require_printable(product.code + product.brand + product.model);
  const ComponentIdentification component = parse_component_identification(data);
  require_printable(component.make + component.model + component.serial_number + component.unit_number);
  std::size_t used = 2;
  for (const Functionality& f : parse_functionalities(data)) {
    used += 3 + f.options.size();
    require_printable(functionality_term(f.number));
  }
  require(used == 2 || used <= data.size());
}

void diagnostics(Bytes data) {
  const DtcList list = parse_dtcs(data);
  require(list.dtcs.size() * 4 <= data.size());
  for (const Dtc& dtc : list.dtcs) {
    require(dtc.spn < 1u << 19 && dtc.fmi < 32);
  }
  if (const auto pgn = parse_request(data)) require(*pgn < 1u << 18);
  if (const auto rate = parse_repetition_rate_request(data)) require(rate->pgn < 1u << 18);
  if (const auto answer = parse_acknowledgement(data))
    require_printable(acknowledgement_text(answer->control));
  if (data.size() >= 8) {
    const Name name = Name::from_claim(data.data());
    require(Name::from_hex(name.hex()) == name);
    require_printable(function_term(name) + industry_group_term(name.industry_group()) +
                      device_class_term(name.industry_group(), name.device_class()));
    const auto time = static_cast<TimeNs>(name.raw());
    require(format_rfc3339(time).size() == 30 && format_date_time(time).size() == 23);
    require_printable(format_span(time) + format_time_of_day(time));
  }
}

void text(Bytes data) {
  const std::string_view all(reinterpret_cast<const char*>(data.data()), data.size());
  require_printable(printable_utf8(all));
  require_printable(printable_latin1(data));
  for (const char c : as_ascii(all)) require(c == '\n' || (c >= 0x20 && c < 0x7F));
  const std::size_t half = all.size() / 2;
  matches_glob(all.substr(0, half), all.substr(half));
  require(matches_glob("*", all));
  const std::size_t width = 1 + all.size() % 30;
  for (const std::string& line : wrapped(all, width)) {
    std::size_t columns = 0;
    for (std::size_t at = 0; at < line.size(); ++columns) at += decode_utf8(line, at).length;
    require(columns <= width);
  }
  Name::from_hex(all);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const Bytes rest(data + 1, size - 1);
  switch (data[0] % 3) {
    case 0:
      identification(rest);
      break;
    case 1:
      diagnostics(rest);
      break;
    default:
      text(rest);
  }
  return 0;
}
