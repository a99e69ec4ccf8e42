// How a client and its task controller come together: versions, labels, upload, activation (ISO 11783-10;
// fact sheet, process data, 2.1, 3, 6.2).
#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "implement/dialogue.hpp"
#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

bool is_older(DialogueState state, DialogueState than) {
  return static_cast<int>(state) < static_cast<int>(than) || state == DialogueState::lost;
}

const char* ask_words(DescriptorMessage what) {
  switch (what) {
    case DescriptorMessage::request_structure_label:
      return "the request for the structure label";
    case DescriptorMessage::request_localization_label:
      return "the request for the localization label";
    case DescriptorMessage::request_transfer:
      return "the request to send an object pool";
    case DescriptorMessage::transfer:
      return "the object pool";
    default:
      return "the request to activate the object pool";
  }
}

}  // namespace

void Dialogue::ask(DescriptorMessage what, Mark at, TimeNs since) {
  answered(what);
  asks_.push_back({what, at, since + patience(), std::nullopt});
}

void Dialogue::answered(DescriptorMessage what) {
  std::erase_if(asks_, [&](const Ask& one) { return one.what == what; });
}

void Dialogue::watch_asks(TimeNs now) {
  std::erase_if(asks_, [&](Ask& one) {
    if (now <= one.deadline) return false;
    if (!one.suspected) one.suspected = now;
    if (now - *one.suspected < kSecondLook) return false;
    std::string text = fmt::format("the {} did not answer {} within {}", server(), ask_words(one.what),
                                   seconds_words(device_.limits["connection.answer_s"]));
    event(one.at, text, true);
    stalled_.add(one.at, std::move(text));
    return true;
  });
}

void Dialogue::take_version(Bytes data, bool from_client, Mark at) {
  const auto version = parse_process_version(data);
  if (!version) return;
  (from_client ? client_version_ : server_version_) = version;
  (from_client ? record_.client_version : record_.server_version) = version->version;
  event(at, fmt::format("{}: version {}, {} booms, {} sections, {} channels{}{}",
                        from_client ? "client" : server(), version->version, version->booms,
                        version->sections, version->channels,
                        option_words(version->options).empty() ? "" : ": ", option_words(version->options)));
  if (record_.state == DialogueState::announced || record_.state == DialogueState::lost)
    record_.state = DialogueState::versioned;
}

void Dialogue::refuse_pool(Mark at, std::string text) {
  event(at, text, true);
  refused_pools_.add(at, std::move(text));
}

void Dialogue::take_descriptor(const Message& message, Mark at) {
  const Bytes data = message.data;
  heard_start_ = true;
  switch (static_cast<DescriptorMessage>(data[0])) {
    case DescriptorMessage::request_structure_label:
      if (const auto label = parse_structure_label(data)) take_label_request(*label, at);
      return;
    case DescriptorMessage::structure_label:
      if (const auto label = parse_structure_label(data)) take_label(*label, at);
      return;
    case DescriptorMessage::request_localization_label:
      if (const auto label = parse_localization_label(data)) {
        desk_.on_localization(*label);
        asked_localization_ = label;
        ask(DescriptorMessage::request_localization_label, at, message.end);
        event(at, "client asks for the localization label " + hex_bytes(*label));
      }
      return;
    case DescriptorMessage::localization_label:
      if (const auto label = parse_localization_label(data)) {
        held_localization_ = label;
        answered(DescriptorMessage::request_localization_label);
        event(at, fmt::format("{} answers with the localization label {}", server(), hex_bytes(*label)));
      }
      return;
    case DescriptorMessage::request_transfer:
      if (data.size() < 5) return;
      upload_.on_announced(load_le32(data.data() + 1));
      ask(DescriptorMessage::request_transfer, at, message.end);
      event(at, fmt::format("client wants to send an object pool of {} bytes", load_le32(data.data() + 1)));
      record_.state = DialogueState::uploading;
      return;
    case DescriptorMessage::request_transfer_response:
      answered(DescriptorMessage::request_transfer);
      if (data.size() < 2 || data[1] == 0) return;
      refuse_pool(at, fmt::format("the {} has not enough memory for the object pool", server()));
      record_.state = DialogueState::refused;
      return;
    case DescriptorMessage::transfer:
      return take_part(message, at);
    case DescriptorMessage::transfer_response:
      if (const auto response = parse_transfer_response(data)) take_part_response(*response, at);
      return;
    case DescriptorMessage::activate:
      return take_activation(data, at);
    case DescriptorMessage::activate_response:
      if (const auto response = parse_activation_response(data)) take_activation_response(*response, at);
      return;
    case DescriptorMessage::remove:
      event(at, "client deletes its object pool");
      return;
    case DescriptorMessage::remove_response: {
      if (data.size() < 2) return;
      const bool known = data.size() >= 3 && data[1] != 0;
      event(at, fmt::format("object pool {}{}", data[1] == 0 ? "deleted" : "could not be deleted",
                            known && data[2] == 0   ? ": task data refer to it"
                            : known && data[2] == 1 ? ": it is not known whether task data refer to it"
                                                    : ""));
      return;
    }
    case DescriptorMessage::change_designator:
      if (const auto change = parse_designator_change(data)) {
        event(at, fmt::format("client calls {} \"{}\"", object_words(change->object), change->designator));
        desk_.on_designator(*change);
      }
      return;
    case DescriptorMessage::change_designator_response:
      if (data.size() >= 4 && data[3] != 0)
        event(at, fmt::format("designator of {} not changed", object_words(load_le16(data.data() + 1))),
              true);
      return;
  }
}

void Dialogue::take_label_request(const StructureLabel& label, Mark at) {
  desk_.on_structure(label);
  asked_label_ = label;
  held_label_.reset();
  asked_localization_.reset();
  held_localization_.reset();
  uploaded_since_label_ = false;
  upload_.clear();
  left_ = false;
  ask(DescriptorMessage::request_structure_label, at, at.time);
  event(at, "client asks for the structure label " + (label.none() ? "that is held" : label_words(label)));
}

void Dialogue::take_label(const StructureLabel& label, Mark at) {
  answered(DescriptorMessage::request_structure_label);
  held_label_ = label;
  if (label.none()) ++unknown_labels_;
  event(at, label.none() ? fmt::format("{} does not know the structure label", server())
                         : fmt::format("{} holds the structure label {}", server(), label_words(label)));
  if (is_older(record_.state, DialogueState::labelled) || record_.state == DialogueState::refused)
    record_.state = DialogueState::labelled;
}

void Dialogue::take_part(const Message& message, Mark at) {
  const Bytes part = message.data.subspan(1);
  if (!first_upload_at_) first_upload_at_ = at;
  upload_.on_part(part, at);
  ask(DescriptorMessage::transfer, at, message.end);
  event(at, fmt::format("object pool, {} bytes, in {}", part.size(),
                        seconds_words(to_seconds(message.end - message.start))));
  if (!uploaded_since_label_) {
    ++uploads_;
    uploaded_since_label_ = true;
    // The label is known, and yet it comes again: mostly for other texts (6.5).
    if (held_label_ && asked_label_ && !held_label_->none() && *held_label_ == *asked_label_)
      ++needless_uploads_;
  }
  if (is_older(record_.state, DialogueState::uploading) || record_.state == DialogueState::refused)
    record_.state = DialogueState::uploading;
}

void Dialogue::take_part_response(const TransferResponse& response, Mark at) {
  answered(DescriptorMessage::transfer);
  if (response.result != 0) {
    upload_.on_refused_part();
    refuse_pool(at,
                fmt::format("object pool not received: {}",
                            response.result == 1 ? "out of memory during the transfer" : "another error"));
    record_.state = DialogueState::refused;
    return;
  }
  const std::size_t sent = upload_.last_part();
  // With or without the command byte, of this transfer or of all: only less than all of it is a loss.
  if (response.bytes != 0 && response.bytes < sent)
    return refuse_pool(at,
                       fmt::format("object pool not received whole: {} of {} bytes", response.bytes, sent));
  event(at, fmt::format("object pool received, {} bytes", response.bytes));
  upload_.on_received();
  if (upload_.complete()) desk_.take_upload(upload_, at, both_version_4());
}

void Dialogue::take_activation(Bytes data, Mark at) {
  // Before version 4 the message only activates.
  if (data.size() >= 2 && data[1] == 0 && both_version_4().value_or(true)) {
    deactivating_ = true;
    event(at, "client deactivates its object pool");
    return;
  }
  deactivating_ = left_ = false;
  ask(DescriptorMessage::activate, at, at.time);
  event(at, "client asks to activate its object pool");
  if (upload_.running()) {
    desk_.take_upload(upload_, at, both_version_4());
    // Not heard, but perhaps known from elsewhere.
    if (upload_.collected() == 0) desk_.on_activate_stored(at);
    upload_.clear();
  } else if (!uploaded_since_label_) {
    // "The latest that you have": what the task controller holds is the client's.
    if (asked_label_ && asked_label_->none() && held_label_) desk_.on_structure(*held_label_);
    desk_.on_activate_stored(at);
  }
}

void Dialogue::take_activation_response(const ActivationResponse& response, Mark at) {
  answered(DescriptorMessage::activate);
  if (deactivating_) {
    deactivating_ = false;
    if (response.errors != 0)
      return event(at, "object pool not deactivated: " + activation_words(response), true);
    event(at, "object pool deactivated: the client takes its leave");
    desk_.on_deactivated();
    left_ = true;
    setups_.cancel();
    record_.state = DialogueState::lost;
    return;
  }
  if (response.errors == 0) {
    ++activations_;
    activated_at_ = at;
    event(at, "object pool activated");
    desk_.on_activated(at);
    record_.state = DialogueState::active;
    return;
  }
  ActivationResponse bits = response;
  bits.object = bits.parent = kNullObject;
  std::string why = activation_words(bits);
  if (response.object != kNullObject)
    why += fmt::format("; {}{}", object_words(response.object),
                       response.parent == kNullObject ? "" : " below " + object_words(response.parent));
  else if (response.parent != kNullObject)
    why += "; something below " + object_words(response.parent);
  refuse_pool(at, "object pool not activated: " + why);
  desk_.on_refused();
  record_.state = DialogueState::refused;
}

}  // namespace tramlog
