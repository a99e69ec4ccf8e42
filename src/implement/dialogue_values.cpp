// Requests, set values, measurement commands and their acknowledgements (ISO 11783-10; fact sheet, process
// data, 1.3 to 1.5, 4.8, 5.8).
#include <fmt/format.h>

#include <algorithm>

#include "implement/dialogue.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kDefaultData = 57343;  // request default process data: no value comes back
constexpr std::uint8_t kBadElement = 0x02, kBadDdi = 0x04, kNoTrigger = 0x08, kNotSettable = 0x10,
                       kBadInterval = 0x20;
constexpr std::uint32_t kShortest = 100, kLongest = 60'000;  // ms (1.4)

/// Bit of the DPD's trigger methods that a measurement command needs (4.4).
unsigned trigger_of(ProcessCommand command) {
  switch (command) {
    case ProcessCommand::time_interval:
      return 0x01;
    case ProcessCommand::distance_interval:
      return 0x02;
    case ProcessCommand::change:
      return 0x08;
    default:
      return 0x04;
  }
}

bool is_write(ProcessCommand command) {
  return command == ProcessCommand::value || command == ProcessCommand::set_and_acknowledge;
}

}  // namespace

void Dialogue::check_declared(const ProcessMessage& told, Mark at) {
  const DevicePool& pool = device_.pool;
  if (pool.empty() || told.variable.ddi == kDefaultData || told.variable.element == kNoElement) return;
  const VariableObject* variable = pool.variable(told.variable);
  if (variable == nullptr && pool.property(told.variable) == nullptr) {
    undeclared_.add(at, fmt::format("{} of {}", command_term(told.command), variable_words(told.variable)));
    return;
  }
  // Many implements take more than they declare: only told where they refuse it.
  const bool settable = variable != nullptr && variable->settable();
  const bool triggered = variable != nullptr && (variable->triggers & trigger_of(told.command)) != 0;
  if (is_write(told.command)
          ? !settable
          : is_measurement(told.command) && !ends_measurement(told.command, told.raw) && !triggered)
    ++beyond_;
}

void Dialogue::take_variable(const ProcessMessage& told, bool from_client, Mark at) {
  if (from_client) {
    if (told.command != ProcessCommand::value) return;
    if (!heard_start_) desk_.on_traffic(at, told.variable);
    record_.answers += open_.answer(told.variable);
    setups_.on_value(told.variable, at);
    // Values prove that the connection stands, whatever was heard of its beginning; not if it was refused.
    if (record_.state != DialogueState::refused && !left_) record_.state = DialogueState::active;
    return;
  }
  last_command_ = at.time;
  check_declared(told, at);
  const std::int64_t raw = signed_raw(device_.schema, told.variable.ddi, told.raw);
  if (told.command == ProcessCommand::request_value) {
    ++record_.requests;
    if (told.variable.ddi == kDefaultData) return;
  } else if (is_measurement(told.command)) {
    ++record_.measurements;
    setups_.take(told, at);
  } else {
    ++record_.sets;
  }
  open_.add(told.variable, told.command, raw, at, patience());
}

std::string Dialogue::explanation(const ProcessAcknowledgement& told,
                                  const std::optional<OpenRequest>& of) const {
  if (of && of->command == ProcessCommand::time_interval && (told.errors & kBadInterval) != 0 &&
      (of->raw < kShortest || of->raw > kLongest))
    return fmt::format("; {} ms were asked for, 100 ms to 60 s are allowed", of->raw);
  if (!desk_.dependable() || told.variable.ddi == kNoDdi || told.variable.element == kNoElement) return {};
  const VariableObject* variable = device_.pool.variable(told.variable);
  const bool declared = variable != nullptr || device_.pool.property(told.variable) != nullptr;
  if ((told.errors & (kBadElement | kBadDdi | kNoTrigger | kNotSettable)) == 0) return {};
  if (!declared) return "; its description does not have it either";
  if ((told.errors & kNotSettable) != 0)
    return variable != nullptr && variable->settable() ? "; but its description calls it settable"
                                                       : "; so says its description";
  if ((told.errors & kNoTrigger) != 0 && of && is_measurement(of->command))
    return variable != nullptr && (variable->triggers & trigger_of(of->command)) != 0
               ? "; but its description lists this trigger method"
               : "; so says its description";
  if ((told.errors & (kBadElement | kBadDdi)) != 0) return "; but its description has it";
  return {};
}

void Dialogue::take_acknowledgement(const ProcessAcknowledgement& told, bool from_client, Mark at) {
  std::optional<OpenRequest> of;
  if (from_client) of = open_.acknowledge(told, at.time);
  if (told.accepted() || told.doubtful()) {
    if (told.doubtful()) ++all_bits_;
    ++record_.acknowledged;
    if (of) setups_.acknowledged(of->variable, of->command);
    return;
  }
  const std::optional<ProcessCommand> command = of ? std::optional(of->command) : told.answers;
  std::string text = fmt::format("{} refuses {}{}", from_client ? "client" : server(),
                                 command ? fmt::format("{} of ", command_term(*command)) : "",
                                 variable_words(told.variable));
  if (of && is_write(of->command)) text += fmt::format(" ({})", device_.value_words(of->variable, of->raw));
  text += ": " + refusal_words(told.errors) + explanation(told, of);
  if (command && is_measurement(*command)) {
    ++record_.measurements_refused;
    setups_.refused(told.variable, *command);
  } else {
    ++record_.refused;
  }
  event(at, text, true);
  refusals_.add(at, std::move(text));
}

}  // namespace tramlog
