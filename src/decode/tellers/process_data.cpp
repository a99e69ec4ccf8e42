// Process data, PGN 51968 (ISO 11783-10; fact sheet, process data, 1): the command, the element, the variable
// by name, and its value in units.
#include "isobus/process_data.hpp"

#include <fmt/format.h>

#include "decode/process_words.hpp"

namespace tramlog::tellers {

extern const Teller process_data;

namespace {

void tell_variable(const ProcessMessage& message, const Schema& schema, std::vector<Remark>& remarks) {
  using enum ProcessCommand;
  const std::uint16_t ddi = message.variable.ddi;
  const std::uint32_t raw = message.raw;
  const std::string variable = variable_words(schema, message.variable.element, ddi);
  const auto add = [&](const char* name, const std::string& what) {
    remarks.push_back({name, what.empty() ? variable : variable + ": " + what});
  };
  const auto add_measurement = [&](const char* name, const std::string& what) {
    add(name, ends_measurement(message.command, raw) ? "no more" : what);
  };
  switch (message.command) {
    case request_value:
      return add("asks for the value", "");
    case value:
      return add("value", value_words(schema, ddi, raw));
    case time_interval:
      return add_measurement("wants values by time", fmt::format("every {} ms", raw));
    case distance_interval:
      return add_measurement("wants values by distance", fmt::format("every {} mm", raw));
    case minimum:
      return add_measurement("wants values by minimum", "threshold " + plain_value_words(schema, ddi, raw));
    case maximum:
      return add_measurement("wants values by maximum", "threshold " + plain_value_words(schema, ddi, raw));
    case change:
      return add_measurement("wants values on change", "of at least " + plain_value_words(schema, ddi, raw));
    default:
      return add("sets the value, to be acknowledged", value_words(schema, ddi, raw));
  }
}

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  using enum ProcessCommand;
  const Bytes data = message.data;
  if (data.empty()) return remark_too_short(remarks, message, 1);
  if (static_cast<ProcessCommand>(data[0] & 0x0F) == device_descriptor)
    return tell_device_descriptor(message, remarks);
  const auto process = parse_process_message(data);
  if (!process) return remark_too_short(remarks, message, 8);
  switch (process->command) {
    case technical_data:
      return tell_technical_data(message, remarks);
    case peer_control:
      return tell_peer_control(message, schema, remarks);
    case reserved_b:
    case reserved_c:
      remarks.push_back({"command", fmt::format("{}, reserved", static_cast<unsigned>(process->command))});
      return;
    case acknowledgement:
      return tell_acknowledgement(message, schema, remarks);
    case status:
      return tell_status(message, remarks);
    case client_task:
      return tell_client_task(message, remarks);
    default:
      return tell_variable(*process, schema, remarks);
  }
}

}  // namespace

const Teller process_data{{kPgnProcessData}, tell, true};

}  // namespace tramlog::tellers
