// Process data, PGN 51968 (ISO 11783-10; fact sheet, process data, 1): the command, the element, the variable
// by name, and its value in units.
#include <fmt/format.h>

#include "decode/process_words.hpp"

namespace tramlog::tellers {

extern const Teller process_data;

namespace {

constexpr std::uint32_t kMinimumOff = 0x7FFFFFFF, kMaximumOff = 0x80000001;

void tell_variable(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const std::uint8_t* b = message.data.data();
  const auto element = static_cast<std::uint16_t>(b[0] >> 4 | b[1] << 4);
  const std::uint16_t ddi = load_le16(b + 2);
  const std::uint32_t raw = load_le32(b + 4);
  const std::string variable = variable_words(schema, element, ddi);
  const auto add = [&](const char* name, const std::string& what) {
    remarks.push_back({name, what.empty() ? variable : variable + ": " + what});
  };
  switch (b[0] & 0x0F) {
    case 2:
      return add("asks for the value", "");
    case 3:
      return add("value", value_words(schema, ddi, raw));
    case 4:
      return add("wants values by time", raw == 0 ? "no more" : fmt::format("every {} ms", raw));
    case 5:
      return add("wants values by distance", raw == 0 ? "no more" : fmt::format("every {} mm", raw));
    case 6:
      return add("wants values by minimum",
                 raw == kMinimumOff ? "no more" : "threshold " + plain_value_words(schema, ddi, raw));
    case 7:
      return add("wants values by maximum",
                 raw == kMaximumOff ? "no more" : "threshold " + plain_value_words(schema, ddi, raw));
    case 8:
      return add("wants values on change",
                 raw == 0 ? "no more" : "of at least " + plain_value_words(schema, ddi, raw));
    default:
      return add("sets the value, to be acknowledged", value_words(schema, ddi, raw));
  }
}

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const Bytes data = message.data;
  if (data.empty()) return remark_too_short(remarks, message, 1);
  const unsigned command = data[0] & 0x0F;
  if (command == 1) return tell_device_descriptor(message, remarks);
  if (data.size() < 8) return remark_too_short(remarks, message, 8);
  switch (command) {
    case 0x0:
      return tell_technical_data(message, remarks);
    case 0x9:
      return tell_peer_control(message, schema, remarks);
    case 0xB:
    case 0xC:
      remarks.push_back({"command", fmt::format("{}, reserved", command)});
      return;
    case 0xD:
      return tell_acknowledgement(message, schema, remarks);
    case 0xE:
      return tell_status(message, remarks);
    case 0xF:
      return tell_client_task(message, remarks);
    default:
      return tell_variable(message, schema, remarks);
  }
}

}  // namespace

const Teller process_data{{0xCB00}, tell, true};

}  // namespace tramlog::tellers
