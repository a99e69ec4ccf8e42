#include "implement/dialogue.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "implement/line_tools.hpp"
#include "implement/variable_words.hpp"
#include "isobus/acknowledgement.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kLookEvery = 500 * kMillisecond;
constexpr SpanNs kClockStep = kSecond;  // further back than this is a step of the recorder's clock
constexpr SpanNs kRightAfter = 250 * kMillisecond;  // an answer to what was said before

Mark mark_of(const Message& message) {
  return {message.start, message.first_frame};
}

}  // namespace

Dialogue::Dialogue(Device& device, PoolDesk& desk, ControllerId server, Address server_address,
                   bool data_logger)
    : device_(device), desk_(desk), data_logger_(data_logger), now_(device.now), setups_(device) {
  record_.server = server;
  record_.server_address = server_address;
  record_.data_logger = data_logger;
  record_.first = record_.last = {device.now, 0};
}

void Dialogue::event(Mark at, std::string text, bool trouble) {
  if (record_.events.size() < kMaxEvents)
    record_.events.push_back({at, std::move(text), trouble});
  else
    ++record_.events_not_listed;
}

SpanNs Dialogue::patience() const {
  return static_cast<SpanNs>(std::min(device_.limits["connection.answer_s"], 1e6) * 1e9);
}

std::string Dialogue::variable_words(ProcessVariable variable) const {
  if (variable.ddi == kNoDdi)
    return variable.element == kNoElement ? "no element" : device_.words(variable.element);
  const std::string words = tramlog::variable_words(device_.schema, variable.element, variable.ddi);
  // The designator says more than the number.
  const ElementObject* element = device_.pool.element_by_number(variable.element);
  return element == nullptr || element->designator.empty()
             ? words
             : fmt::format("{} (\"{}\")", words, element->designator);
}

std::string Dialogue::object_words(std::uint16_t id) const {
  const DevicePool& pool = device_.pool;
  const auto named = [id](const std::string& term, const std::string& designator) {
    return designator.empty() ? fmt::format("object {}, {}", id, term)
                              : fmt::format("object {}, {} \"{}\"", id, term, designator);
  };
  if (const ElementObject* element = pool.element_by_id(id))
    return named(element_type_term(element->type), element->designator);
  if (const VariableObject* variable = pool.variable_by_id(id))
    return named(fmt::format("variable of DDI {}", variable->ddi), variable->designator);
  if (const PropertyObject* property = pool.property_by_id(id))
    return named(fmt::format("property of DDI {}", property->ddi), property->designator);
  if (pool.presentation_by_id(id) != nullptr) return named("presentation", "");
  if (pool.device && pool.device->id == id) return named("the device object", pool.device->designator);
  return fmt::format("object {}", id);
}

std::optional<bool> Dialogue::both_version_4() const {
  if (!client_version_ || !server_version_) return std::nullopt;
  return client_version_->version >= 4 && server_version_->version >= 4;
}

bool Dialogue::client_is_there() const {
  return client_task_.last() && !client_task_.lost() && record_.state != DialogueState::lost;
}

void Dialogue::lose() {
  setups_.cancel();
  open_.clear();
  asks_.clear();
  upload_.clear();
  apart_since_.reset();
  ++losses_;
  record_.state = DialogueState::lost;
}

void Dialogue::come_to(TimeNs now) {
  if (now + kClockStep < now_) {
    // Nothing may be judged across the step.
    on_blind(now_, now_);
    next_look_ = now;
  }
  now_ = now;
}

void Dialogue::watch_pulses(TimeNs now) {
  const double status_s = device_.limits["connection.status_s"],
               client_s = device_.limits["connection.client_task_s"];
  if (status_.overdue(now, status_s)) {
    const std::string text =
        fmt::format("last status of the {} for over {}", server(), seconds_words(status_s));
    event(*status_.last(), text, !left_);
    if (!left_) status_.blame(text);
    lose();
  }
  if (client_task_.overdue(now, client_s)) {
    // A client that has taken its leave, or has lost its task controller, is right to fall silent.
    const bool rightly = left_ || status_.lost();
    const std::string text =
        fmt::format("last task message of the client for over {}", seconds_words(client_s));
    event(*client_task_.last(), text, !rightly);
    if (!rightly) client_task_.blame(text);
    lose();
  }
}

void Dialogue::on_status(const TaskControllerStatus& status, Mark at) {
  come_to(at.time);
  watch_pulses(at.time);
  if (const auto gap = status_.take(at, device_.limits["connection.status_late_s"]))
    event(at, fmt::format("status of the {} is back after {}", server(), seconds_words(*gap)));
  record_.last = at;
  if (status_told_ && status_told_->task_active != status.task_active) {
    setups_.cancel();  // 1.4
    ++task_changes_;
    event(at, status.task_active ? "task started" : "task stopped");
  }
  if (status.out_of_memory && (!status_told_ || !status_told_->out_of_memory))
    refuse_pool(at, fmt::format("the {} says that it is out of memory", server()));
  // Whoever is busy answers later (6.2, 6.5).
  if (status.executing || status.saving || status.reading)
    for (Ask& one : asks_) one.deadline = std::max(one.deadline, at.time + 2 * patience());
  status_told_ = status;
  compare_tasks(at, false);
}

void Dialogue::compare_tasks(Mark at, bool judge) {
  if (!status_told_ || !echo_ || status_.lost()) return;
  // A client that is not (yet) connected, or was refused, follows nobody.
  const bool connected = record_.state == DialogueState::active ||
                         (!heard_start_ && record_.state != DialogueState::lost);
  if (status_told_->task_active == *echo_ || !connected) {
    apart_since_.reset();
    apart_told_ = false;
    return;
  }
  if (!apart_since_) {
    apart_since_ = at;
    apart_told_ = false;
  }
  if (!judge || apart_told_ ||
      to_seconds(at.time - apart_since_->time) <= device_.limits["connection.echo_s"])
    return;
  apart_told_ = true;
  std::string text =
      fmt::format("{}: task {}; the client still says: task {}", server(),
                  status_told_->task_active ? "running" : "stopped", *echo_ ? "running" : "stopped");
  event(*apart_since_, text, true);
  out_of_step_.add(*apart_since_, std::move(text));
}

void Dialogue::on_nack(Mark at, bool by_server, std::uint8_t control) {
  come_to(at.time);
  record_.last = at;
  constexpr std::uint8_t kNegative = 1, kDenied = 2;
  const bool refuses = control == kNegative || control == kDenied;
  const std::string answer = acknowledgement_text(control);
  if (!by_server) {
    // A client is free not to talk with a second task controller.
    const bool served =
        record_.state == DialogueState::active && last_command_ && at.time - *last_command_ <= kRightAfter;
    std::string text = fmt::format("the client answers process data with \"{}\"", answer);
    event(at, text, refuses && served);
    if (refuses && served) refusals_.add(at, std::move(text));
    return;
  }
  const auto command = static_cast<ProcessCommand>(last_client_code_ & 0x0F);
  const bool special = last_client_code_ == static_cast<std::uint8_t>(DescriptorMessage::change_designator) ||
                       last_client_code_ == static_cast<std::uint8_t>(DescriptorMessage::remove) ||
                       command == ProcessCommand::peer_control || command == ProcessCommand::request_value;
  if (!refuses || special) {
    event(at, fmt::format("the {} answers process data with \"{}\"", server(), answer), refuses);
    return;
  }
  std::string text = fmt::format(
      "the {} answers process data with \"{}\": it does not know this client (no working set "
      "master message, or timed out)",
      server(), answer);
  event(at, text, true);
  if (record_.state == DialogueState::lost && dropped_.count > 0) return;  // said already
  (record_.state == DialogueState::active ? dropped_ : start_nacks_).add(at, std::move(text));
  lose();
}

void Dialogue::on_working_set_master(Mark at) {
  event(at, "client announces itself (working set master)");
  // It is sent for other partners too; an active connection goes on.
  if (record_.state == DialogueState::lost || record_.state == DialogueState::refused)
    record_.state = DialogueState::announced;
}

void Dialogue::on_transfer_failed(const TransferEnd& end, bool from_client) {
  const Mark at{end.start, end.first_frame};
  const bool unheard = end.outcome == TransferOutcome::unseen || end.outcome == TransferOutcome::unfinished;
  if (end.outcome == TransferOutcome::complete) return;
  std::string text = fmt::format("transfer of {} bytes by the {} {} after {} bytes", end.bytes_expected,
                                 from_client ? "client" : server(),
                                 unheard ? "was not heard whole" : "failed", end.bytes_received);
  if (end.abort_reason) text += ": " + abort_reason_text(*end.abort_reason, end.protocol);
  event(at, std::move(text), !unheard);
  if (from_client) upload_.on_failed_part(at, unheard);
}

void Dialogue::on_restart(Mark at, bool of_client) {
  come_to(at.time);
  watch_pulses(at.time);
  event(at, of_client ? "the client started again" : fmt::format("the {} started again", server()), true);
  lose();
  left_ = deactivating_ = false;
  if (of_client) {
    ++client_starts_;
    echo_.reset();
    client_task_.excuse();
  } else {
    ++server_starts_;
    status_told_.reset();
    status_.excuse();
    client_task_.excuse();  // it may start anew with its task controller
  }
}

void Dialogue::on_blind(TimeNs from, TimeNs to) {
  status_.excuse(from, to);
  client_task_.excuse(from, to);
  open_.clear();
  asks_.clear();
  setups_.on_blind();
  upload_.on_blind();
  apart_since_.reset();
}

void Dialogue::on_time(TimeNs now) {
  come_to(now);
  if (now < next_look_) return;
  next_look_ = now + kLookEvery;
  watch_pulses(now);
  watch_asks(now);
  watch_answers(now);
}

void Dialogue::watch_answers(TimeNs now) {
  const bool must_acknowledge = both_version_4().value_or(false);
  for (const OpenRequest& one : open_.expire(now)) {
    if (!client_is_there()) {
      unjudged_ += one.command == ProcessCommand::request_value ? 1 : 0;
      continue;
    }
    if (one.command != ProcessCommand::request_value) {
      if (!must_acknowledge) continue;
      ++record_.unanswered;
      unanswered_.add(one.at,
                      fmt::format("no acknowledgement came of {}: {}", command_term(one.command), variable_words(one.variable)));
      continue;
    }
    ++record_.unanswered;
    unanswered_.add(one.at, "no value came: " + variable_words(one.variable));
  }
  if (!client_is_there()) return;
  for (const auto& one : setups_.missing(now, device_.limits["connection.value_missing"], must_acknowledge))
    missing_.add(one.since, fmt::format("{}: {} every {} ms, {} for {}", variable_words(one.variable),
                                        must_acknowledge ? "accepted" : "asked for", one.interval_ms,
                                        one.came ? "nothing more" : "nothing",
                                        seconds_words(to_seconds(now - one.since.time))));
}

void Dialogue::on_message(const Message& message, bool from_client) {
  const Mark at = mark_of(message);
  come_to(message.start);
  if (record_.first.frame == 0) record_.first = at;
  record_.last = at;
  const Bytes data = message.data;
  if (data.empty()) return;
  if (from_client) last_client_code_ = data[0];
  switch (static_cast<ProcessCommand>(data[0] & 0x0F)) {
    case ProcessCommand::technical_data:
      return take_version(data, from_client, at);
    case ProcessCommand::device_descriptor:
      return take_descriptor(message, at);
    case ProcessCommand::client_task:
      if (const auto active = parse_client_task(data); active && from_client) {
        watch_pulses(at.time);
        if (const auto gap = client_task_.take(at, device_.limits["connection.status_late_s"]))
          event(at, fmt::format("task message of the client is back after {}", seconds_words(*gap)));
        echo_ = *active;
        ++echoes_;
        compare_tasks(at, true);
      }
      return;
    case ProcessCommand::acknowledgement:
      if (const auto told = parse_process_acknowledgement(data)) take_acknowledgement(*told, from_client, at);
      return;
    case ProcessCommand::request_value:
    case ProcessCommand::value:
    case ProcessCommand::time_interval:
    case ProcessCommand::distance_interval:
    case ProcessCommand::minimum:
    case ProcessCommand::maximum:
    case ProcessCommand::change:
    case ProcessCommand::set_and_acknowledge:
      if (const auto told = parse_process_message(data)) take_variable(*told, from_client, at);
      return;
    default:
      return;
  }
}

}  // namespace tramlog
