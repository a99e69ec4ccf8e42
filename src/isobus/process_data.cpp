#include "isobus/process_data.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr std::size_t kFrameBytes = 8;
constexpr std::size_t kLabelBytes = 7;
constexpr std::size_t kMaxLabelBytes = 39;  // with the extended structure label (3.1)

ProcessVariable variable_of(Bytes data) {
  return {static_cast<std::uint16_t>(data[0] >> 4 | data[1] << 4), load_le16(data.data() + 2)};
}

ProcessCommand command_of(Bytes data) {
  return static_cast<ProcessCommand>(data[0] & 0x0F);
}

bool is_frame_of(Bytes data, ProcessCommand command) {
  return data.size() >= kFrameBytes && command_of(data) == command;
}

/// A designator has 128 bytes at most (4); what is longer than a length byte could tell is cut between
/// characters.
Bytes without_surplus(Bytes text) {
  constexpr std::size_t kMost = 255;
  if (text.size() <= kMost) return text;
  std::size_t length = kMost;
  for (int i = 0; i < 3 && (text[length] & 0xC0) == 0x80; ++i) --length;
  return text.first(length);
}

template <class... Codes>
bool is_descriptor(Bytes data, Codes... codes) {
  return data.size() >= kFrameBytes && ((data[0] == static_cast<std::uint8_t>(codes)) || ...);
}

}  // namespace

std::optional<ProcessMessage> parse_process_message(Bytes data) {
  if (data.size() < kFrameBytes) return std::nullopt;
  return ProcessMessage{command_of(data), variable_of(data), load_le32(data.data() + 4)};
}

bool ends_measurement(ProcessCommand command, std::uint32_t raw) {
  switch (command) {
    case ProcessCommand::time_interval:
    case ProcessCommand::distance_interval:
    case ProcessCommand::change:
      return raw == 0;
    case ProcessCommand::minimum:
      return raw == 0x7FFFFFFF;
    case ProcessCommand::maximum:
      return raw == 0x80000001;  // -2^31 + 1
    default:
      return false;
  }
}

std::optional<ProcessAcknowledgement> parse_process_acknowledgement(Bytes data) {
  if (!is_frame_of(data, ProcessCommand::acknowledgement)) return std::nullopt;
  ProcessAcknowledgement ack;
  ack.variable = variable_of(data);
  ack.errors = data[4];
  // Version 4 sends F0 with the command in the low nibble, older versions FF.
  if (data[5] >= 0xF0 && data[5] != 0xFF) ack.answers = static_cast<ProcessCommand>(data[5] & 0x0F);
  return ack;
}

std::optional<TaskControllerStatus> parse_task_controller_status(Bytes data) {
  if (!is_frame_of(data, ProcessCommand::status)) return std::nullopt;
  TaskControllerStatus status;
  status.task_active = (data[4] & 0x01) != 0;
  status.saving = (data[4] & 0x02) != 0;
  status.reading = (data[4] & 0x04) != 0;
  status.executing = (data[4] & 0x08) != 0;
  status.out_of_memory = (data[4] & 0x80) != 0;
  status.client = data[5];
  status.command = data[6];
  return status;
}

std::optional<bool> parse_client_task(Bytes data) {
  if (!is_frame_of(data, ProcessCommand::client_task)) return std::nullopt;
  return (data[4] & 0x01) != 0;
}

std::optional<ProcessVersion> parse_process_version(Bytes data) {
  if (data.size() < kFrameBytes || data[0] != 0x10) return std::nullopt;
  ProcessVersion version;
  version.version = data[1];
  if (data[2] != 0xFF) version.boot_time_s = data[2];
  version.options = data[3];
  version.booms = data[5];
  version.sections = data[6];
  version.channels = data[7];
  return version;
}

bool StructureLabel::none() const {
  return std::all_of(bytes.begin(), bytes.end(), [](std::uint8_t byte) { return byte == 0xFF; });
}

StructureLabel structure_label_of(Bytes label, Bytes extension) {
  extension = extension.first(std::min(extension.size(), kMaxLabelBytes - kLabelBytes));
  while (!extension.empty() && extension.back() == 0xFF) extension = extension.first(extension.size() - 1);
  StructureLabel made;
  made.bytes.assign(label.begin(), label.end());
  made.bytes.insert(made.bytes.end(), extension.begin(), extension.end());
  return made;
}

std::optional<StructureLabel> parse_structure_label(Bytes data) {
  if (!is_descriptor(data, DescriptorMessage::request_structure_label, DescriptorMessage::structure_label))
    return std::nullopt;
  return structure_label_of(data.subspan(1, kLabelBytes), data.subspan(1 + kLabelBytes));
}

std::optional<LocalizationLabel> parse_localization_label(Bytes data) {
  if (!is_descriptor(data, DescriptorMessage::request_localization_label,
                     DescriptorMessage::localization_label))
    return std::nullopt;
  LocalizationLabel label;
  std::copy_n(data.begin() + 1, label.size(), label.begin());
  return label;
}

std::optional<ActivationResponse> parse_activation_response(Bytes data) {
  if (!is_descriptor(data, DescriptorMessage::activate_response)) return std::nullopt;
  return ActivationResponse{data[1], load_le16(data.data() + 2), load_le16(data.data() + 4), data[6]};
}

std::optional<TransferResponse> parse_transfer_response(Bytes data) {
  if (!is_descriptor(data, DescriptorMessage::transfer_response)) return std::nullopt;
  return TransferResponse{data[1], load_le32(data.data() + 2)};
}

std::optional<DesignatorChange> parse_designator_change(Bytes data) {
  constexpr std::size_t kHead = 3;  // code and object
  if (data.size() < kHead || data[0] != static_cast<std::uint8_t>(DescriptorMessage::change_designator))
    return std::nullopt;
  DesignatorChange change;
  change.object = load_le16(data.data() + 1);
  Bytes text = data.subspan(kHead);
  // Both readings are in use: a count before the text or none (3.1). A text that fits into one frame has FF
  // behind it; FF is no byte of UTF-8.
  if (data.size() == kFrameBytes)
    while (!text.empty() && text.back() == 0xFF) text = text.first(text.size() - 1);
  if (!text.empty() && text[0] == text.size() - 1) text = text.subspan(1);
  change.designator = descriptor_text(without_surplus(text));
  return change;
}

}  // namespace tramlog
