#include "decode/process_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "exam/words.hpp"
#include "isobus/device_pool.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxPoolRemarks = 5;  // problems of an object pool told with its transfer

/// Seven bytes in hex: those of the language command, letters and bits. "" if none.
std::string localization_words(Bytes data) {
  const auto label = parse_localization_label(data);
  if (!label || std::all_of(label->begin(), label->end(), [](std::uint8_t byte) { return byte == 0xFF; }))
    return {};
  return short_hex(*label);
}

std::string structure_words(Bytes data) {
  const auto label = parse_structure_label(data);
  return label ? label_words(*label) : std::string{};
}

/// What the objects are, and what is wrong with them as far as this transfer alone can show: further ones may
/// bring what is missing.
void tell_pool(Bytes objects, std::vector<Remark>& remarks) {
  DevicePool pool = parse_device_pool(objects);
  check_device_pool(pool, std::nullopt);
  remarks.push_back({"object pool transfer", pool_words(pool)});
  std::size_t certain = 0;
  for (const PoolProblem& problem : pool.problems) {
    if (problem.of_absence) continue;
    if (++certain <= kMaxPoolRemarks) remarks.push_back({"object pool problem", problem_words(problem)});
  }
  if (certain > kMaxPoolRemarks)
    remarks.push_back({"object pool problem", fmt::format("and {} more", certain - kMaxPoolRemarks)});
}

}  // namespace

void tell_technical_data(const Message& message, std::vector<Remark>& remarks) {
  const Bytes d = message.data;
  if (const auto version = parse_process_version(d)) {
    std::string text = version_words(version->version);
    if (version->boot_time_s) text += fmt::format(", starts in {} s", *version->boot_time_s);
    remarks.push_back({"version", std::move(text)});
    const std::string options = option_words(version->options);
    remarks.push_back({"can", options.empty() ? "no options told" : options});
    remarks.push_back({"counts", fmt::format("{}, {}, {}", counted(version->booms, "boom", "booms"),
                                             counted(version->sections, "section", "sections"),
                                             counted(version->channels, "position-based channel",
                                                     "position-based channels"))});
    return;
  }
  switch (d[0]) {
    case 0x00:
      remarks.push_back({"asks for", "the version"});
      return;
    case 0x20:
      remarks.push_back({"asks to", "identify the task controller"});
      return;
    default:
      remarks.push_back({"technical data", fmt::format("sub-command {}, not known", d[0] >> 4)});
  }
}

void tell_device_descriptor(const Message& message, std::vector<Remark>& remarks) {
  using enum DescriptorMessage;
  const Bytes d = message.data;
  const auto add = [&](const char* name, std::string text) { remarks.push_back({name, std::move(text)}); };
  const auto code = static_cast<DescriptorMessage>(d[0]);
  // An object pool may be shorter than a frame only by mistake; all else has eight bytes.
  if (code == transfer) return tell_pool(d.subspan(1), remarks);
  if (d.size() < 8) return remark_too_short(remarks, message, 8);
  const auto or_else = [](const std::string& text, const char* otherwise) {
    return text.empty() ? std::string(otherwise) : text;
  };
  switch (code) {
    case request_structure_label:
      return add("asks for the structure label", or_else(structure_words(d), "the latest"));
    case structure_label:
      return add("structure label", or_else(structure_words(d), "not known"));
    case request_localization_label:
      return add("asks for the localization label", or_else(localization_words(d), "the latest"));
    case localization_label:
      return add("localization label", or_else(localization_words(d), "not known"));
    case request_transfer:
      return add("asks to send an object pool", counted(load_le32(d.data() + 1), "byte", "bytes"));
    case request_transfer_response:
      return add("object pool may come", d[1] == 0 ? "there may be enough memory" : "not enough memory");
    case transfer_response: {
      constexpr const char* kResults[] = {"ok", "out of memory during the transfer", "other error"};
      const TransferResponse response = parse_transfer_response(d).value_or(TransferResponse{});
      return add(
          "object pool received",
          fmt::format("{}, {}",
                      response.result < std::size(kResults) ? kResults[response.result] : "unknown result",
                      counted(response.bytes, "byte", "bytes")));
    }
    case activate:
      return add("asks to", d[1] == 0x00 ? "deactivate the object pool" : "activate the object pool");
    case activate_response: {
      std::string text = activation_words(parse_activation_response(d).value_or(ActivationResponse{}));
      if (text.empty()) return add("object pool activated or deactivated", "ok");
      return add("object pool refused", std::move(text));
    }
    case remove:
      return add("asks to", "delete the object pool");
    case remove_response: {
      std::string text = d[1] == 0 ? "ok" : "error";
      if (d[1] != 0 && d[2] == 0) text += ", task data refer to it";
      if (d[1] != 0 && d[2] == 1) text += ", references cannot be checked";
      return add("object pool deleted", std::move(text));
    }
    case change_designator: {
      const DesignatorChange change = parse_designator_change(d).value_or(DesignatorChange{});
      return add("asks to change the designator",
                 fmt::format("of object {} to \"{}\"", change.object, change.designator));
    }
    case change_designator_response:
      return add("designator changed",
                 fmt::format("object {}: {}", load_le16(d.data() + 1), d[3] == 0 ? "ok" : "error"));
    default:
      return add("device descriptor", fmt::format("sub-command {}, not known", d[0] >> 4));
  }
}

void tell_acknowledgement(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const auto ack = parse_process_acknowledgement(message.data);
  if (!ack) return;
  std::string text;
  if (ack->accepted())
    text = "accepted";
  else if (ack->doubtful())
    text = "all error bits are set: probably a defect of the sender, not eight errors";
  else
    text = refusal_words(ack->errors);
  if (ack->variable.ddi != kNoDdi)
    text += "; " + variable_words(schema, ack->variable.element, ack->variable.ddi);
  else if (ack->variable.element != kNoElement)
    text += fmt::format("; element {}", ack->variable.element);
  if (ack->answers)
    text += fmt::format("; answers command {} ({})", static_cast<unsigned>(*ack->answers),
                        command_term(*ack->answers));
  remarks.push_back({ack->accepted() || ack->doubtful() ? "acknowledges" : "refuses", std::move(text)});
}

void tell_status(const Message& message, std::vector<Remark>& remarks) {
  const auto status = parse_task_controller_status(message.data);
  if (!status) return;
  std::string text = state_words(message.data[4]);
  if (!status->task_active) text = text.empty() ? "no task running" : "no task running, " + text;
  // B6 and B7 mean something only while it is busy (fact sheet, process data, 2.2).
  if (status->saving || status->reading || status->executing)
    text += fmt::format("; for {}, command 0x{:02X} ({})", address_words(status->client), status->command,
                        command_term(static_cast<ProcessCommand>(status->command & 0x0F)));
  remarks.push_back({"task controller status", std::move(text)});
}

void tell_client_task(const Message& message, std::vector<Remark>& remarks) {
  if (const auto running = parse_client_task(message.data))
    remarks.push_back({"client task", *running ? "task running" : "no task running"});
}

void tell_peer_control(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const Bytes d = message.data;
  constexpr const char* kModes[] = {"assigns a receiver",      "unassigns a receiver",
                                    "receiver acknowledges",   "assigns a transmitter",
                                    "unassigns a transmitter", "transmitter acknowledges"};
  const auto own = parse_process_message(d);
  if (!own) return;
  const unsigned mode = d[4] & 0x0F;
  std::string text = variable_words(schema, own->variable.element, own->variable.ddi);
  if (d.size() >= 14) {
    const unsigned partner = unsigned{d[4]} >> 4 | unsigned{d[5]} << 4;
    text += "; partner " + name_words(Name::from_claim(d.data() + 6));
    if (partner != kNoElement) text += fmt::format(", its element {}", partner);
  }
  remarks.push_back(
      {mode < std::size(kModes) ? std::string(kModes[mode]) : fmt::format("peer control mode {}", mode),
       std::move(text)});
}

}  // namespace tramlog
