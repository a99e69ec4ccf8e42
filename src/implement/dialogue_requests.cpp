#include "implement/dialogue_requests.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr std::uint8_t kOfSetValues = 0x10 | 0x40 | 0x80;  // not settable, definition, range (1.5)
constexpr std::uint8_t kOfMeasurements = 0x08 | 0x20;      // trigger method, interval
constexpr SpanNs kUsualAnswer = kSecond;

bool is_write(ProcessCommand command) {
  return command == ProcessCommand::value || command == ProcessCommand::set_and_acknowledge;
}

/// Whether these error bits can answer that command.
bool fits(std::uint8_t errors, ProcessCommand command) {
  if ((errors & kOfSetValues) != 0 && is_write(command)) return true;
  if ((errors & kOfMeasurements) != 0 && is_measurement(command)) return true;
  return (errors & (kOfSetValues | kOfMeasurements)) == 0;
}

}  // namespace

void OpenRequests::add(ProcessVariable variable, ProcessCommand command, std::int64_t raw, Mark at,
                       SpanNs patience) {
  if (open_.size() >= kMax) {
    open_.pop_front();
    ++dropped_;
  }
  // A plain value is answered only by a refusal, and at once: it waits for nobody.
  if (command == ProcessCommand::value) {
    open_.push_back({variable, command, raw, at, at.time + patience, std::nullopt});
    return;
  }
  const auto waiting = static_cast<SpanNs>(std::count_if(
      open_.begin(), open_.end(), [&](const OpenRequest& one) { return one.command == command; }));
  const SpanNs more = std::min(waiting * kForEachBefore, kMostPatience);
  open_.push_back({variable, command, raw, at, at.time + patience + more, std::nullopt});
}

std::size_t OpenRequests::answer(ProcessVariable variable) {
  return std::erase_if(open_, [&](const OpenRequest& one) {
    return one.command == ProcessCommand::request_value && one.variable == variable;
  });
}

std::optional<OpenRequest> OpenRequests::acknowledge(const ProcessAcknowledgement& told, TimeNs now) {
  const bool positive = told.accepted() || told.doubtful();
  // Only values that want an acknowledgement and measurement commands get a positive one; a request gets its
  // value.
  const auto possible = [&](const OpenRequest& one) {
    if (one.variable != told.variable) return false;
    if (told.answers) return one.command == *told.answers;
    if (positive) return is_measurement(one.command) || one.command == ProcessCommand::set_and_acknowledge;
    return fits(told.errors, one.command);
  };
  auto found = std::find_if(open_.begin(), open_.end(), [&](const OpenRequest& one) {
    return possible(one) && now - one.at.time <= kUsualAnswer;
  });
  if (found == open_.end()) {
    const auto last = std::find_if(open_.rbegin(), open_.rend(), possible);
    if (last == open_.rend()) return std::nullopt;
    found = std::prev(last.base());
  }
  const OpenRequest answered = *found;
  open_.erase(found);
  return answered;
}

std::vector<OpenRequest> OpenRequests::expire(TimeNs now) {
  std::vector<OpenRequest> overdue;
  std::erase_if(open_, [&](OpenRequest& one) {
    if (now <= one.deadline) return false;
    if (one.command == ProcessCommand::value) return true;
    if (!one.suspected) one.suspected = now;
    if (now - *one.suspected < kSecondLook) return false;
    overdue.push_back(one);
    return true;
  });
  return overdue;
}

}  // namespace tramlog
