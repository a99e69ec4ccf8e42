#include "implement/dialogue.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "implement/line_tools.hpp"
#include "implement/variable_words.hpp"
#include "isobus/acknowledgement.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kDefaultData = 57343;  // request default process data: no value comes back

Mark mark_of(const Message& message) {
  return {message.start, message.first_frame};
}
SpanNs span_of(double seconds) {
  return static_cast<SpanNs>(seconds * 1e9);
}
double seconds_between(TimeNs from, TimeNs to) {
  return static_cast<double>(to - from) / 1e9;
}

}  // namespace

void Dialogue::Cases::add(Mark at, std::string text) {
  ++count;
  if (!first) first = at.time;
  last = at.time;
  if (moments.size() < kMaxMoments) moments.push_back({at, std::move(text)});
}

Dialogue::Dialogue(Device& device, PoolDesk& desk, ControllerId server, Address server_address, bool data_logger)
    : device_(device), desk_(desk), data_logger_(data_logger) {
  record_.server = server;
  record_.server_address = server_address;
  record_.data_logger = data_logger;
  record_.first = record_.last = {device.now, 0};
  now_ = device.now;
}

void Dialogue::event(Mark at, std::string text, bool trouble) {
  if (record_.events.size() < kMaxEvents)
    record_.events.push_back({at, std::move(text), trouble});
  else
    ++record_.events_not_listed;
}

void Dialogue::state(DialogueState next) {
  if (next == DialogueState::active && state_ != next) active_since_ = now_;
  state_ = next;
}

std::string Dialogue::variable_words(ProcessVariable variable) const {
  if (variable.ddi == kNoDdi) return variable.element == kNoElement ? "no element" : device_.words(variable.element);
  const std::string words = tramlog::variable_words(device_.schema, variable.element, variable.ddi);
  // The designator says more than the number.
  const ElementObject* element = device_.pool.element_by_number(variable.element);
  return element == nullptr || element->designator.empty() ? words : fmt::format("{} (\"{}\")", words, element->designator);
}

std::string Dialogue::object_words(std::uint16_t id) const {
  if (const ElementObject* element = device_.pool.element_by_id(id))
    return fmt::format("object {}, {}", id, device_.pool.element_words(element->number));
  if (const VariableObject* variable = device_.pool.variable_by_id(id))
    return fmt::format("object {}, {}", id, variable_words({kNoElement, variable->ddi}));
  if (const PropertyObject* property = device_.pool.property_by_id(id))
    return fmt::format("object {}, {}", id, variable_words({kNoElement, property->ddi}));
  return fmt::format("object {}", id);
}

std::optional<bool> Dialogue::both_version_4() const {
  if (!client_version_ || !server_version_) return std::nullopt;
  return client_version_->version >= 4 && server_version_->version >= 4;
}

void Dialogue::beat(Beat& beat, Mark at, const char* what) {
  if (beat.last && !beat.skip && at.time > beat.last->time) {
    const double gap = seconds_between(beat.last->time, at.time);
    beat.longest_s = std::max(beat.longest_s, gap);
    if (beat.lost) {
      beat.lost_s += gap;
      event(at, fmt::format("{} is back after {}", what, seconds_words(gap)));
    } else if (gap > device_.limits["connection.status_late_s"]) {
      ++beat.late;
      beat.late_cases.add(at, fmt::format("{} after {}", what, seconds_words(gap)));
    }
  }
  beat.lost = false;
  beat.skip = false;
  beat.last = at;
  ++beat.count;
}

void Dialogue::watch(Beat& beat, TimeNs now, const char* what) {
  if (!beat.last || beat.lost || beat.skip || beat.count < 2) return;
  if (beat.last->time < blind_until_) return;
  // A client that has lost its task controller falls silent by rule: that is no loss of its own.
  if (&beat == &client_task_ && status_.last &&
      (status_.lost || now - status_.last->time > span_of(device_.limits["connection.status_late_s"]))) {
    beat.skip = true;
    return;
  }
  const double limit =
      device_.limits[&beat == &status_ ? "connection.status_s" : "connection.client_task_s"];
  if (now - beat.last->time <= span_of(limit)) return;
  beat.lost = true;
  ++beat.losses;
  beat.cases.add(*beat.last, fmt::format("last {}; nothing for over {}", what, seconds_words(limit)));
  event(*beat.last, fmt::format("last {} for over {}", what, seconds_words(limit)), true);
  lost(*beat.last);
}

void Dialogue::lost(Mark) {
  device_.values.cancel_measurements();
  requests_.clear();
  sets_.clear();
  measures_.clear();
  ++losses_;
  state(DialogueState::lost);
}

void Dialogue::task_edge(bool active, Mark at) {
  device_.values.cancel_measurements();
  task_since_ = at;
  echo_told_ = false;
  event(at, active ? "task started" : "task stopped");
}

void Dialogue::on_status(const TaskControllerStatus& status, Mark at) {
  now_ = at.time;
  beat(status_, at, data_logger_ ? "status of the data logger" : "status of the task controller");
  record_.last = at;
  if (task_ && *task_ != status.task_active) task_edge(status.task_active, at);
  if (!task_) task_since_ = at;
  task_ = status.task_active;
  if (status.out_of_memory) {
    refused_pools_.add(at, "the task controller says that it is out of memory");
    event(at, "task controller out of memory", true);
  }
}

void Dialogue::on_nack(Mark at, bool by_server, std::uint8_t control) {
  const std::string text = fmt::format("{} answers process data with \"{}\"{}", by_server ? "the task controller" : "the client",
                                       acknowledgement_text(control),
                                       by_server ? ": it does not know this client (no working set master message, or timed out)" : "");
  nacks_.add(at, text);
  event(at, text, true);
  if (by_server) lost(at);
}

void Dialogue::on_working_set_master(Mark at) {
  event(at, "client announces itself (working set master)");
}

void Dialogue::on_transfer_failed(const TransferEnd& end, bool from_client) {
  const Mark at{end.start, end.first_frame};
  const std::string text = fmt::format("transfer of {} bytes by the {} failed after {} bytes", end.bytes_expected,
                                       from_client ? "client" : "task controller", end.bytes_received);
  event(at, text, end.outcome != TransferOutcome::unseen);
  if (from_client) desk_.on_lost_part();
}

void Dialogue::on_restart(Mark at, bool of_client) {
  event(at, of_client ? "the client started again" : "the task controller started again", true);
  lost(at);
  (of_client ? client_task_ : status_).skip = true;
  if (of_client) echo_.reset();
}

void Dialogue::on_blind(TimeNs, TimeNs to) {
  blind_until_ = std::max(blind_until_, to);
  status_.skip = client_task_.skip = true;
  requests_.clear();
  sets_.clear();
  measures_.clear();
}

void Dialogue::on_time(TimeNs now) {
  now_ = now;
  if (now < next_look_) return;
  next_look_ = now + 500 * kMillisecond;
  watch(status_, now, "status of the task controller");
  watch(client_task_, now, "task message of the client");
  expire(now);
  const bool connected = state_ == DialogueState::active || (!heard_start_ && state_ != DialogueState::lost);
  if (task_ && echo_ && *task_ != *echo_ && task_since_ && !echo_told_ && connected && !status_.lost &&
      client_task_.last && client_task_.last->time > std::max(task_since_->time, active_since_) &&
      now - client_task_.last->time < span_of(device_.limits["connection.status_late_s"]) &&
      now - std::max({task_since_->time, blind_until_, active_since_}) > span_of(device_.limits["connection.echo_s"])) {
    echo_told_ = true;
    out_of_step_.add(*task_since_, fmt::format("task controller: task {}; the client still says: task {}",
                                               *task_ ? "running" : "stopped", *echo_ ? "running" : "stopped"));
  }
}

void Dialogue::expire(TimeNs now) {
  const SpanNs patience = span_of(device_.limits["connection.answer_s"]);
  const bool alive = client_task_.last && !client_task_.lost && state_ != DialogueState::lost;
  while (!requests_.empty() && now - requests_.front().at.time > patience) {
    if (alive) {
      ++record_.unanswered;
      unanswered_.add(requests_.front().at, "no value came: " + variable_words(requests_.front().variable));
    }
    requests_.pop_front();
  }
  const bool must_acknowledge = both_version_4().value_or(false);
  for (auto* list : {&sets_, &measures_})
    while (!list->empty() && now - list->front().at.time > patience) {
      if (alive && must_acknowledge) {
        ++record_.unanswered;
        unanswered_.add(list->front().at,
                        fmt::format("no acknowledgement came of {}: {}", command_term(list->front().command),
                                    variable_words(list->front().variable)));
      }
      list->pop_front();
    }
  // Values that an accepted time interval promised.
  if (!alive || now < blind_until_ + 5 * kSecond) return;
  const double periods = device_.limits["connection.value_missing"];
  for (const auto& [variable, entry] : device_.values.all()) {
    const auto& interval = entry.measurements[0];
    if (!interval || interval->refused || interval->raw < 100 || interval->raw > 60'000) continue;
    const SpanNs wait = std::max<SpanNs>(2 * kSecond, span_of(periods * interval->raw / 1000.0));
    TimeNs since = interval->at.time;
    if (entry.told) since = std::max(since, entry.told->at.time);
    if (now - std::max(since, blind_until_) <= wait) continue;
    missing_.add({since, entry.told ? entry.told->at.frame : interval->at.frame},
                 fmt::format("{}: accepted every {} ms, nothing for {}", variable_words(variable), interval->raw,
                             seconds_words(seconds_between(since, now))));
    if (ValueEntry* kept = device_.values.entry(variable)) kept->measurements[0].reset();
    break;  // the table was changed; the next look goes on
  }
}

void Dialogue::on_message(const Message& message, bool from_client) {
  const Mark at = mark_of(message);
  now_ = message.start;
  if (record_.first.frame == 0) {
    record_.first = at;
  }
  record_.last = at;
  const Bytes data = message.data;
  if (data.empty()) return;
  switch (static_cast<ProcessCommand>(data[0] & 0x0F)) {
    case ProcessCommand::technical_data:
      if (const auto version = parse_process_version(data)) {
        (from_client ? client_version_ : server_version_) = version;
        (from_client ? record_.client_version : record_.server_version) = version->version;
        event(at, fmt::format("{}: version {}, {} booms, {} sections, {} channels{}{}",
                              from_client ? "client" : "task controller", version->version, version->booms,
                              version->sections, version->channels, version->options != 0 ? ": " : "",
                              option_words(version->options)));
        if (state_ == DialogueState::announced || state_ == DialogueState::lost) state(DialogueState::versioned);
        if (client_version_ && server_version_ && !data_logger_) {
          const auto& c = *client_version_;
          const auto& s = *server_version_;
          if (s.version >= 3 && c.version >= 3 && (s.booms < c.booms || s.sections < c.sections || s.channels < c.channels))
            version_trouble_.add(
                at, fmt::format("the task controller serves {} booms, {} sections, {} channels; the client has {}, {}, {}: it "
                                "must offer a reduced description or run without",
                                s.booms, s.sections, s.channels, c.booms, c.sections, c.channels));
        }
      }
      return;
    case ProcessCommand::device_descriptor:
      return descriptor(message, from_client, at);
    case ProcessCommand::client_task:
      if (const auto active = parse_client_task(data)) {
        beat(client_task_, at, "task message of the client");
        if (echo_ != active) echo_ = active;
        if (state_ == DialogueState::lost && !heard_start_) state(DialogueState::announced);
      }
      return;
    case ProcessCommand::acknowledgement:
      if (const auto told = parse_process_acknowledgement(data)) acknowledgement(*told, from_client, at);
      return;
    case ProcessCommand::request_value:
    case ProcessCommand::value:
    case ProcessCommand::time_interval:
    case ProcessCommand::distance_interval:
    case ProcessCommand::minimum:
    case ProcessCommand::maximum:
    case ProcessCommand::change:
    case ProcessCommand::set_and_acknowledge:
      if (const auto told = parse_process_message(data)) variable(*told, from_client, at);
      return;
    default:
      return;
  }
}

void Dialogue::descriptor(const Message& message, bool from_client, Mark at) {
  const Bytes data = message.data;
  heard_start_ = true;
  switch (static_cast<DescriptorMessage>(data[0])) {
    case DescriptorMessage::request_structure_label:
      if (const auto label = parse_structure_label(data)) {
        if (!label->none()) desk_.on_structure(*label);
        event(at, "client asks for the structure label " + (label->none() ? "that is held" : label_words(*label)));
      }
      return;
    case DescriptorMessage::structure_label:
      if (const auto label = parse_structure_label(data)) {
        event(at, label->none() ? "task controller does not know the structure label"
                                : "task controller holds the structure label " + label_words(*label));
        state(DialogueState::labelled);
      }
      return;
    case DescriptorMessage::request_localization_label:
      if (const auto label = parse_localization_label(data)) {
        desk_.on_localization(*label);
        event(at, "client asks for the localization label " + hex_bytes(*label));
      }
      return;
    case DescriptorMessage::localization_label:
      if (const auto label = parse_localization_label(data))
        event(at, "task controller answers with the localization label " + hex_bytes(*label));
      return;
    case DescriptorMessage::request_transfer:
      if (data.size() >= 5) {
        announced_bytes_ = load_le32(data.data() + 1);
        event(at, fmt::format("client wants to send an object pool of {} bytes", *announced_bytes_));
        state(DialogueState::uploading);
      }
      return;
    case DescriptorMessage::request_transfer_response:
      if (data.size() >= 2 && data[1] != 0) {
        refused_pools_.add(at, "the task controller has not enough memory for the object pool");
        event(at, "task controller: not enough memory", true);
        state(DialogueState::refused);
      }
      return;
    case DescriptorMessage::transfer:
      ++uploads_;
      desk_.on_transfer(data.subspan(1), at);
      event(at, fmt::format("object pool, {} bytes, in {}", data.size() - 1,
                            seconds_words(seconds_between(message.start, message.end))));
      return;
    case DescriptorMessage::transfer_response:
      if (const auto response = parse_transfer_response(data)) {
        const bool short_of = desk_.uploading() && response->bytes != 0 && response->bytes < desk_.collected();
        if (response->result != 0 || short_of) {
          const std::string why = response->result == 1 ? "out of memory during the transfer"
                                  : response->result != 0 ? "another error"
                                                          : fmt::format("only {} of {} bytes received", response->bytes,
                                                                        desk_.collected());
          refused_pools_.add(at, "object pool not received: " + why);
          event(at, "object pool not received: " + why, true);
          if (response->result != 0) state(DialogueState::refused);
        } else {
          event(at, fmt::format("object pool received, {} bytes", response->bytes));
        }
      }
      return;
    case DescriptorMessage::activate:
      if (data.size() >= 2 && data[1] == 0) {
        asked_deactivation_ = true;
        event(at, "client deactivates its object pool");
        desk_.on_deactivated();
        return;
      }
      asked_deactivation_ = false;
      activation_asked_ = at;
      event(at, "client asks to activate its object pool");
      desk_.on_activate(at, both_version_4());
      return;
    case DescriptorMessage::activate_response:
      if (const auto response = parse_activation_response(data)) {
        activation_asked_.reset();
        if (asked_deactivation_) {
          event(at, response->errors == 0 ? "object pool deactivated" : "object pool not deactivated");
          return;
        }
        if (response->errors == 0) {
          ++activations_;
          event(at, "object pool activated");
          desk_.on_activated(at);
          state(DialogueState::active);
          return;
        }
        std::string why = activation_words(*response);
        if (response->object != 0xFFFF) why += "; " + object_words(response->object);
        if (response->parent != 0xFFFF) why += ", below " + object_words(response->parent);
        refused_pools_.add(at, "object pool not activated: " + why);
        event(at, "object pool not activated: " + why, true);
        desk_.on_refused(at);
        state(DialogueState::refused);
      }
      return;
    case DescriptorMessage::remove:
      event(at, "client deletes its object pool");
      return;
    case DescriptorMessage::remove_response:
      if (data.size() >= 2)
        event(at, data[1] == 0 ? "object pool deleted" : "object pool could not be deleted", false);
      return;
    case DescriptorMessage::change_designator:
      if (const auto change = parse_designator_change(data)) {
        event(at, fmt::format("client calls {} \"{}\"", object_words(change->object), change->designator));
        desk_.on_designator(*change);
      }
      return;
    case DescriptorMessage::change_designator_response:
      if (data.size() >= 4 && data[3] != 0) event(at, "designator not changed", true);
      return;
  }
  (void)from_client;
}

void Dialogue::check_declared(const ProcessMessage& told, Mark at) {
  if (device_.pool.empty() || told.variable.ddi == kDefaultData) return;
  const VariableObject* declared = device_.pool.variable(told.variable);
  const PropertyObject* property = device_.pool.property(told.variable);
  const bool writes = told.command == ProcessCommand::value || told.command == ProcessCommand::set_and_acknowledge;
  std::string what;
  if (declared == nullptr && property == nullptr)
    what = "which the description does not have";
  else if (writes && (declared == nullptr || !declared->settable()))
    what = "which the description does not call settable";
  else if (is_measurement(told.command) && !ends_measurement(told.command, told.raw)) {
    const unsigned trigger = told.command == ProcessCommand::time_interval       ? 0x01u
                             : told.command == ProcessCommand::distance_interval ? 0x02u
                             : told.command == ProcessCommand::change            ? 0x08u
                                                                                 : 0x04u;
    if (declared == nullptr || (declared->triggers & trigger) == 0) what = "for which the description has no such trigger";
  }
  if (!what.empty())
    undeclared_.add(at, fmt::format("{}: {}, {}", command_term(told.command), variable_words(told.variable), what));
}

void Dialogue::variable(const ProcessMessage& told, bool from_client, Mark at) {
  if (from_client) {
    if (told.command == ProcessCommand::value) {
      desk_.on_traffic(at);
      std::erase_if(requests_, [&](const Pending& p) { return p.variable == told.variable && (++record_.answers, true); });
      if (!heard_start_ && state_ == DialogueState::announced) state(DialogueState::active);
    }
    return;
  }
  check_declared(told, at);
  const std::int64_t raw = signed_raw(device_.schema, told.variable.ddi, told.raw);
  const auto keep = [](std::deque<Pending>& list, Pending pending) {
    if (list.size() >= kMaxPending) list.pop_front();
    list.push_back(pending);
  };
  if (told.command == ProcessCommand::request_value) {
    ++record_.requests;
    if (told.variable.ddi != kDefaultData) keep(requests_, {told.variable, told.command, raw, at});
    return;
  }
  if (is_measurement(told.command)) {
    ++record_.measurements;
    keep(measures_, {told.variable, told.command, raw, at});
    if (ValueEntry* entry = device_.values.entry(told.variable)) {
      auto& slot = entry->measurements[static_cast<std::size_t>(told.command) - 4];
      if (ends_measurement(told.command, told.raw))
        slot.reset();
      else
        slot = Measurement{told.raw, at, false};
    }
    return;
  }
  ++record_.sets;
  if (told.command == ProcessCommand::set_and_acknowledge) keep(sets_, {told.variable, told.command, raw, at});
}

void Dialogue::acknowledgement(const ProcessAcknowledgement& told, bool from_client, Mark at) {
  const auto take = [&](std::deque<Pending>& list) -> std::optional<Pending> {
    const auto found = std::find_if(list.begin(), list.end(), [&](const Pending& p) {
      return p.variable == told.variable && (!told.answers || *told.answers == p.command);
    });
    if (found == list.end()) return std::nullopt;
    const Pending pending = *found;
    list.erase(found);
    return pending;
  };
  std::optional<Pending> of;
  if (from_client) {
    of = take(measures_);
    if (!of) of = take(sets_);
    if (!of && !told.accepted()) of = take(requests_);
  }
  if (told.accepted() || told.doubtful()) {
    if (told.doubtful()) doubtful_.add(at, "acknowledgement with all error bits of " + variable_words(told.variable));
    ++record_.acknowledged;
    return;
  }
  std::string what = refusal_words(told.errors);
  const std::optional<ProcessCommand> command = of ? std::optional(of->command) : told.answers;
  std::string text = fmt::format("{} refuses{}{}: {}", from_client ? "client" : "task controller",
                                 command ? fmt::format(" {} of", command_term(*command)) : "",
                                 " " + variable_words(told.variable), what);
  if (of && (of->command == ProcessCommand::set_and_acknowledge || of->command == ProcessCommand::value))
    text += fmt::format(" (value {})", device_.value_words(of->variable, of->raw));
  const bool measurement = command && is_measurement(*command);
  if (measurement) {
    ++record_.measurements_refused;
    if (ValueEntry* entry = device_.values.entry(told.variable)) {
      auto& slot = entry->measurements[static_cast<std::size_t>(*command) - 4];
      if (slot) slot->refused = true;
    }
  } else {
    ++record_.refused;
  }
  refusals_.add(at, text);
  event(at, std::move(text), true);
}

LinkRecord Dialogue::conclude(TimeNs end, std::vector<CheckLine>& lines) const {
  LinkRecord out = record_;
  out.state = state_;
  const char* server = data_logger_ ? "data logger" : "task controller";
  const auto line = [&](const char* code, Verdict verdict, std::string text, const Cases* cases = nullptr) -> CheckLine& {
    lines.push_back(make_line(code, "connection", server, verdict, std::move(text)));
    CheckLine& made = lines.back();
    if (cases != nullptr && cases->count > 0) {
      made.moments = cases->moments;
      made.start = cases->first;
      with(made, "count", static_cast<double>(cases->count), 0);
    }
    return made;
  };
  // Time-outs.
  const auto beats = [&](const char* code, const Beat& beat, const char* what, const char* limit, const char* absent) {
    if (beat.count < 2) return line(code, Verdict::not_shown, absent), void();
    if (beat.losses > 0) {
      const bool back = !beat.lost;
      CheckLine& made = line(code, Verdict::attention,
                             fmt::format("The {} was missing {} for over {}, first after {}{}. Both sides drop the connection then.",
                                         what, beat.losses == 1 ? "once" : fmt::format("{} times", beat.losses),
                                         seconds_words(device_.limits[limit]), time_of_day(*beat.cases.first),
                                         back ? "; it came back" : "; it did not come back"),
                             &beat.cases);
      with(made, "lost_s", beat.lost_s + (beat.lost && beat.last ? seconds_between(beat.last->time, end) : 0.0));
      return;
    }
    CheckLine& made = line(code, Verdict::pass,
                           fmt::format("The {} came {} times, the longest pause was {}; limit {}.", what, beat.count,
                                       seconds_words(beat.longest_s), seconds_words(device_.limits[limit])));
    with(made, "longest_s", beat.longest_s);
  };
  beats("task-controller.lost", status_, "status", "connection.status_s",
        "Not shown on this bus: no status of the task controller while it talked with this client.");
  if (status_.count >= 2) {
    if (status_.late > 0)
      line("task-controller.status-late", Verdict::attention,
           fmt::format("The status, due every 2 s, came late {}, limit {}.", counted_words(status_.late, "time", "times"),
                       seconds_words(device_.limits["connection.status_late_s"])),
           &status_.late_cases);
    else
      line("task-controller.status-late", Verdict::pass,
           fmt::format("No status came later than {} after the one before.",
                       seconds_words(device_.limits["connection.status_late_s"])));
  }
  beats("device.client-lost", client_task_, "client's task message", "connection.client_task_s",
        "Not shown on this bus: no task message of the client.");
  if (task_ && echo_) {
    if (out_of_step_.count > 0)
      line("device.task-out-of-step", Verdict::attention,
           fmt::format("The client did not follow the task state within {}.", seconds_words(device_.limits["connection.echo_s"])),
           &out_of_step_);
    else
      line("device.task-out-of-step", Verdict::pass, "The client follows the task controller's task state.");
  }
  // The description.
  Cases refused = refused_pools_;
  if (activation_asked_ && end - activation_asked_->time > span_of(device_.limits["connection.answer_s"]) && state_ != DialogueState::lost)
    refused.add(*activation_asked_, "the activation was never answered");
  for (const Moment& moment : nacks_.moments) refused.add(moment.at, moment.text);
  if (refused.count > 0)
    line("device.pool-refused", Verdict::attention,
         fmt::format("{}{}: the implement cannot be told rates and sections without an active description.",
                     refused.moments.front().text, refused.count > 1 ? fmt::format(" ({} times in all)", refused.count) : ""),
         &refused);
  else if (activations_ > 0)
    line("device.pool-refused", Verdict::pass,
         fmt::format("The description was activated{}.", uploads_ > 0 ? " after its upload" : " from the task controller's memory, without an upload"));
  else
    line("device.pool-refused", Verdict::not_shown,
         "Not shown on this bus: the connection began before the recording, so no activation was heard.");
  if (!device_.pool.empty()) {
    const auto broken = std::find_if(device_.pool.problems.begin(), device_.pool.problems.end(),
                                     [](const PoolProblem& p) { return p.broken; });
    const std::size_t problems = device_.pool.problems.size() + device_.pool.problems_not_listed;
    if (broken != device_.pool.problems.end())
      line("device.pool-broken", Verdict::attention,
           fmt::format("The description cannot be read whole: byte {}: {} What could be read is shown by tramlog devices.",
                       broken->offset, broken->what));
    else
      line("device.pool-broken", Verdict::pass,
           fmt::format("The description was read whole: {}{}.", counted_words(device_.pool.objects(), "object", "objects"),
                       problems > 0 ? fmt::format("; {} kept (tramlog devices lists them)",
                                                  problems == 1 ? "one rule is not" : fmt::format("{} rules are not", problems))
                                    : ""));
  }
  if (client_version_ && server_version_) {
    if (version_trouble_.count > 0)
      line("device.version", Verdict::attention, version_trouble_.moments.front().text + ".", &version_trouble_);
    else
      line("device.version", Verdict::pass,
           fmt::format("Client version {}, {} version {}: the rules of version {} are in force.", client_version_->version, server,
                       server_version_->version, std::min(client_version_->version, server_version_->version)));
  } else {
    line("device.version", Verdict::not_shown, "Not shown on this bus: the versions were not exchanged in this recording.");
  }
  // Values.
  if (refusals_.count > 0)
    line("process-data.refused", Verdict::attention,
         fmt::format("{}. {} refused in all.", refusals_.moments.front().text,
                     counted_words(refusals_.count, "command was", "commands were")),
         &refusals_);
  else if (record_.sets + record_.measurements > 0)
    line("process-data.refused", Verdict::pass,
         fmt::format("Nothing was refused: {} and {}{}.", counted_words(record_.sets, "set value", "set values"),
                     counted_words(record_.measurements, "measurement command", "measurement commands"),
                     doubtful_.count > 0 ? fmt::format("; {} acknowledgements carry all error bits, a known defect of some clients",
                                                       doubtful_.count)
                                         : ""));
  if (unanswered_.count > 0)
    line("process-data.unanswered", Verdict::attention,
         fmt::format("{}: {}.", counted_words(unanswered_.count, "request stayed without an answer", "requests stayed without an answer"),
                     unanswered_.moments.front().text),
         &unanswered_);
  else if (record_.requests > 0)
    line("process-data.unanswered", Verdict::pass,
         fmt::format("Every one of {} was answered.", counted_words(record_.requests, "request", "requests")));
  if (missing_.count > 0)
    line("process-data.value-missing", Verdict::attention,
         fmt::format("{}.", missing_.moments.front().text), &missing_);
  else if (record_.measurements > 0)
    line("process-data.value-missing", Verdict::pass, "Values that were asked for by time came.");
  if (!device_.pool.empty() && record_.sets + record_.requests + record_.measurements > 0) {
    if (undeclared_.count > 0)
      line("process-data.undeclared", Verdict::attention,
           fmt::format("The task controller uses what the description does not declare: {}; {} in all. It may work with an old copy of the "
                       "description.",
                       undeclared_.moments.front().text, counted_words(undeclared_.count, "case", "cases")),
           &undeclared_);
    else
      line("process-data.undeclared", Verdict::pass, "Everything that was asked for and set is declared in the description.");
  }
  return out;
}

}  // namespace tramlog
