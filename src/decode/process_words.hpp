// Words for process data (ISO 11783-10; fact sheet, process data, 1 to 3). Used by the teller of PGN 51968.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "decode/remark_tools.hpp"

namespace tramlog {

/// "Actual Mass Per Area Application Rate (DDI 7) of element 18"; an unknown DDI is told by its number.
std::string variable_words(const Schema& schema, std::uint16_t element, std::uint16_t ddi);
/// "18000 mg/m2 (180.00 kg/ha)", "sections 1 to 8 on, 9 to 12 off", "raw 42" for a DDI that the dictionary
/// does not have.
std::string value_words(const Schema& schema, std::uint16_t ddi, std::uint32_t raw);
/// A difference or threshold in the DDI's unit.
std::string plain_value_words(const Schema& schema, std::uint16_t ddi, std::uint32_t raw);

/// Technical data: B1's low nibble is 0.
void tell_technical_data(const Message& message, std::vector<Remark>& remarks);
/// Device descriptor messages: B1's low nibble is 1.
void tell_device_descriptor(const Message& message, std::vector<Remark>& remarks);
/// Acknowledgement, TC status, client task, peer control assignment: 0xD, 0xE, 0xF, 9. Eight bytes are there.
void tell_acknowledgement(const Message& message, const Schema& schema, std::vector<Remark>& remarks);
void tell_status(const Message& message, std::vector<Remark>& remarks);
void tell_client_task(const Message& message, std::vector<Remark>& remarks);
void tell_peer_control(const Message& message, const Schema& schema, std::vector<Remark>& remarks);

}  // namespace tramlog
