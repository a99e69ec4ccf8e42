// Process data messages, PGN 51968, and the device descriptor messages that share it (ISO 11783-10; fact
// sheet, process data, 1 to 3). Plain parsers: who is connected to whom, and what became of it, is kept in
// implement/.
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

inline constexpr Pgn kPgnProcessData = 0xCB00;  // 51968
inline constexpr std::uint16_t kNoElement = 0xFFF;
inline constexpr std::uint16_t kNoDdi = 0xFFFF;

/// B1 bits 4-1 (1.3).
enum class ProcessCommand : std::uint8_t {
  technical_data = 0x0,
  device_descriptor = 0x1,
  request_value = 0x2,
  value = 0x3,
  time_interval = 0x4,      // ms
  distance_interval = 0x5,  // mm
  minimum = 0x6,
  maximum = 0x7,
  change = 0x8,
  peer_control = 0x9,
  set_and_acknowledge = 0xA,
  reserved_b = 0xB,
  reserved_c = 0xC,
  acknowledgement = 0xD,
  status = 0xE,
  client_task = 0xF,
};

/// What a value belongs to: element number (B1 bits 8-5 low, B2 high) and DDI (B3-B4).
struct ProcessVariable {
  std::uint16_t element = kNoElement;
  std::uint16_t ddi = kNoDdi;
  auto operator<=>(const ProcessVariable&) const = default;
};

/// Commands 2 to A.
struct ProcessMessage {
  ProcessCommand command = ProcessCommand::value;
  ProcessVariable variable;
  std::uint32_t raw = 0;  // B5-B8, little-endian
};
/// None if shorter than 8 bytes. The command is given as it stands, whatever it is.
std::optional<ProcessMessage> parse_process_message(Bytes data);

/// Commands 4 to 8.
constexpr bool is_measurement(ProcessCommand c) {
  return c >= ProcessCommand::time_interval && c <= ProcessCommand::change;
}
/// The raw value that ends this measurement (1.4): 0 for 4, 5, 8; 2147483647 for 6; -2147483647 for 7.
bool ends_measurement(ProcessCommand command, std::uint32_t raw);
/// "time interval", "set value and acknowledge", ..: the standard's term.
const char* command_term(ProcessCommand command);

/// Command D (1.5).
struct ProcessAcknowledgement {
  ProcessVariable variable;               // kNoElement, kNoDdi where not applicable
  std::uint8_t errors = 0;                // B5: 0 = accepted
  std::optional<ProcessCommand> answers;  // B6 low nibble (version 4); none for older ones
  bool accepted() const { return errors == 0; }
  /// B5 = FF: a known defect of some clients' positive answers, not eight errors at once.
  bool doubtful() const { return errors == 0xFF; }
};
std::optional<ProcessAcknowledgement> parse_process_acknowledgement(Bytes data);
/// "process data not settable, value outside this device's range"; "" for 0.
std::string refusal_words(std::uint8_t errors);

/// Command E (2.2), sent to all by task controllers and data loggers.
struct TaskControllerStatus {
  bool task_active = false, saving = false, reading = false, executing = false, out_of_memory = false;
  Address client = 0;        // B6; meaningful while `executing`
  std::uint8_t command = 0;  // B7; meaningful while `executing`
};
std::optional<TaskControllerStatus> parse_task_controller_status(Bytes data);
/// Of B5: "task running, busy saving"; "" for none.
std::string state_words(std::uint8_t states);

/// Command F (2.3): echo of "task totals active".
std::optional<bool> parse_client_task(Bytes data);

/// B1 = 10 (2.1).
struct ProcessVersion {
  std::uint8_t version = 0;
  std::optional<unsigned> boot_time_s;  // none = not available (FF)
  std::uint8_t options = 0;             // B4
  std::uint8_t booms = 0, sections = 0, channels = 0;
};
std::optional<ProcessVersion> parse_process_version(Bytes data);
/// "documentation and totals (TC-BAS), section control (TC-SC)"; "" for none.
std::string option_words(std::uint8_t options);
/// "version 4 (second edition)".
std::string version_words(std::uint8_t version);

/// B1 of device descriptor messages (3.1).
enum class DescriptorMessage : std::uint8_t {
  request_structure_label = 0x01,
  structure_label = 0x11,
  request_localization_label = 0x21,
  localization_label = 0x31,
  request_transfer = 0x41,
  request_transfer_response = 0x51,
  transfer = 0x61,
  transfer_response = 0x71,
  activate = 0x81,
  activate_response = 0x91,
  remove = 0xA1,
  remove_response = 0xB1,
  change_designator = 0xC1,
  change_designator_response = 0xD1,
};

/// Seven bytes, and up to 32 more from version 4 on. All FF: "the latest" in a request, "none stored" in an
/// answer.
struct StructureLabel {
  std::vector<std::uint8_t> bytes;  // 7..39; trailing FF of the extension are kept off
  bool none() const;
  auto operator<=>(const StructureLabel&) const = default;
};
/// From its seven bytes and the extension (none: empty).
StructureLabel structure_label_of(Bytes label, Bytes extension);
/// "\"DRILL01\""; "" if all bytes are FF.
std::string label_words(const StructureLabel& label);
/// Of 01 and 11; none if shorter than 8 bytes.
std::optional<StructureLabel> parse_structure_label(Bytes data);
using LocalizationLabel = std::array<std::uint8_t, 7>;
/// Of 21 and 31.
std::optional<LocalizationLabel> parse_localization_label(Bytes data);

/// 91 (3.2).
struct ActivationResponse {
  std::uint8_t errors = 0;        // B2: 0 = activated
  std::uint16_t parent = 0xFFFF;  // object ids; FFFF = none
  std::uint16_t object = 0xFFFF;
  std::uint8_t object_errors = 0;  // B7
};
std::optional<ActivationResponse> parse_activation_response(Bytes data);
/// "errors in the object pool; object 12 of object 3: unknown object reference"; "" if activated.
std::string activation_words(const ActivationResponse& response);

/// 71: result (0 ok, 1 out of memory, 2 other) and bytes received.
struct TransferResponse {
  std::uint8_t result = 0;
  std::uint32_t bytes = 0;
};
std::optional<TransferResponse> parse_transfer_response(Bytes data);

/// C1: the text by the rule of 3.1 (with or without a length byte).
struct DesignatorChange {
  std::uint16_t object = 0;
  std::string designator;  // printable UTF-8
};
std::optional<DesignatorChange> parse_designator_change(Bytes data);

/// A text of device descriptions as printable UTF-8: UTF-8 as it should be, else windows-1252 as older
/// devices send it; zero bytes at the end are dropped.
std::string descriptor_text(Bytes bytes);

}  // namespace tramlog
