// Words for process data (ISO 11783-10; fact sheet, process data, 1 to 3). Used by the teller of PGN 51968.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "decode/remark_tools.hpp"
#include "implement/variable_words.hpp"

namespace tramlog {

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
