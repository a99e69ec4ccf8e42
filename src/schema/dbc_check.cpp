#include "schema/dbc_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <string_view>
#include <utility>

#include "schema/dbc_problems.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kFewNames = 16;  // up to here each is compared with each

std::uint64_t message_bits(const DbcMessage& message) {
  return std::uint64_t{message.length} * 8;
}

// Position after the signal's last bit, in the order of its own bits.
std::uint64_t end_bit(const DbcSignal& signal) {
  std::uint64_t first = signal.start_bit;
  if (signal.order == ByteOrder::big) first = first / 8 * 8 + (7 - first % 8);
  return first + signal.bit_length;
}

void check_form(DbcCheck& check, std::size_t i) {
  const DbcSignal& signal = check.message->signals[i];
  if (signal.factor.digits == 0)
    return check.remove(i, "the factor is 0, so every value would be the same",
                        "write the factor, 1 for none");
  const bool float32 = signal.encoding == Encoding::float32;
  if ((float32 && signal.bit_length != 32) ||
      (signal.encoding == Encoding::float64 && signal.bit_length != 64))
    return check.remove(i,
                        fmt::format("a float of {} bits (SIG_VALTYPE_ {}) has a length of {} bits",
                                    float32 ? 32 : 64, float32 ? 1 : 2, signal.bit_length),
                        "correct the length or the SIG_VALTYPE_");
  if (end_bit(signal) > message_bits(*check.message))
    return check.remove(
        i,
        fmt::format("{} bits from start bit {} ({}) do not fit into the {} bytes of the message",
                    signal.bit_length, signal.start_bit,
                    signal.order == ByteOrder::big ? "Motorola" : "Intel", check.message->length),
        "correct the start bit, the length, the byte order or the length of the message");
}

// `later` has the name of `first`.
void tell_same_name(DbcCheck& check, std::size_t first, std::size_t later) {
  const DbcSignal& signal = check.message->signals[first];
  check.remove(later, fmt::format("the message has a signal of this name already, in line {}", signal.line),
               "give one of them another name");
}

// Equal for equal names, and mostly different for different ones.
std::uint64_t mark_of(std::string_view name) {
  std::uint64_t first = 0, last = 0;
  const std::size_t count = std::min(name.size(), sizeof first);
  if (count == 0) return 0;
  if (count == sizeof first) {
    std::memcpy(&first, name.data(), sizeof first);
    std::memcpy(&last, name.data() + name.size() - sizeof last, sizeof last);
  } else {
    std::memcpy(&first, name.data(), count);
  }
  return first ^ (last * 31 + name.size());
}

void check_names(DbcCheck& check) {
  const std::vector<DbcSignal>& signals = check.message->signals;
  if (signals.size() <= kFewNames) {
    std::array<std::uint64_t, kFewNames> marks;
    for (std::size_t i = 0; i < signals.size(); ++i) {
      marks[i] = mark_of(signals[i].name);
      for (std::size_t k = 0; k < i; ++k)
        if (marks[k] == marks[i] && signals[k].name == signals[i].name) {
          tell_same_name(check, k, i);
          break;
        }
    }
    return;
  }
  std::vector<std::pair<std::string_view, std::size_t>> names;
  names.reserve(signals.size());
  for (std::size_t i = 0; i < signals.size(); ++i) names.emplace_back(signals[i].name, i);
  std::sort(names.begin(), names.end());
  std::size_t first = 0;
  for (std::size_t i = 1; i < names.size(); ++i) {
    if (names[i].first != names[first].first)
      first = i;
    else
      tell_same_name(check, names[first].second, names[i].second);
  }
}

void check_message(DbcCheck& check, DbcMessage& message) {
  check.message = &message;
  const std::size_t count = message.signals.size();
  check.removed.assign(count, 0);
  check.parent.assign(count, DbcCheck::kNoParent);
  check_names(check);
  for (std::size_t i = 0; i < count; ++i)
    if (!check.removed[i]) check_form(check, i);
  check_dbc_multiplexing(check);
  check_dbc_overlaps(check);
  for (std::size_t i = 0; i < count; ++i)
    if (!check.removed[i]) check_dbc_values(check, message.signals[i]);

  if (std::find(check.removed.begin(), check.removed.end(), 1) == check.removed.end()) return;
  std::size_t kept = 0;
  for (std::size_t i = 0; i < count; ++i) {
    if (check.removed[i]) continue;
    if (kept != i) message.signals[kept] = std::move(message.signals[i]);
    ++kept;
  }
  message.signals.erase(message.signals.begin() + static_cast<std::ptrdiff_t>(kept), message.signals.end());
}

// Calls tell(first, later) for every message whose key an earlier message has.
template <class Key, class Tell>
void for_equals(const std::vector<DbcMessage>& messages, Key key, Tell tell) {
  using Value = decltype(key(messages.front()));
  std::vector<std::pair<Value, std::size_t>> keys;
  keys.reserve(messages.size());
  for (std::size_t i = 0; i < messages.size(); ++i) keys.emplace_back(key(messages[i]), i);
  std::sort(keys.begin(), keys.end());
  std::size_t first = 0;
  for (std::size_t i = 1; i < keys.size(); ++i) {
    if (keys[i].first != keys[first].first)
      first = i;
    else
      tell(messages[keys[first].second], messages[keys[i].second]);
  }
}

void check_equal_messages(DbcFile& file) {
  using Severity = SchemaProblem::Severity;
  std::vector<std::size_t> unreachable;
  for_equals(
      file.messages, [](const DbcMessage& m) { return std::uint64_t{m.extended} << 32 | m.id; },
      [&](const DbcMessage& first, const DbcMessage& later) {
        add_problem(file, Severity::error, later.line, 0, dbc_subject(later),
                    fmt::format("the identifier {} belongs to {} already, in line {}",
                                dbc_id_text(later.id, later.extended), dbc_subject(first), first.line),
                    "give one of them another identifier, or remove it; the later message is left out");
        unreachable.push_back(static_cast<std::size_t>(&later - file.messages.data()));
      });
  for_equals(
      file.messages, [](const DbcMessage& m) { return std::string_view(m.name); },
      [&](const DbcMessage& first, const DbcMessage& later) {
        if (first.id == later.id && first.extended == later.extended) return;  // told by its identifier
        add_problem(file, Severity::warning, later.line, 0, dbc_subject(later),
                    fmt::format("the message {} in line {} has the same name",
                                dbc_id_text(first.id, first.extended), first.line),
                    "give one of them another name");
      });
  if (unreachable.empty()) return;
  std::sort(unreachable.begin(), unreachable.end());
  std::size_t kept = unreachable.front();
  auto next = unreachable.begin();
  for (std::size_t i = kept; i < file.messages.size(); ++i) {
    if (next != unreachable.end() && *next == i)
      ++next;
    else
      file.messages[kept++] = std::move(file.messages[i]);
  }
  file.messages.erase(file.messages.begin() + static_cast<std::ptrdiff_t>(kept), file.messages.end());
}

}  // namespace

void DbcCheck::error(const DbcSignal& signal, std::string text, std::string remedy) {
  if (!has_room_for_problem(file)) return count_problem(file, SchemaProblem::Severity::error);
  add_problem(file, SchemaProblem::Severity::error, signal.line, 0, dbc_subject(*message, signal.name),
              std::move(text), std::move(remedy));
}

void DbcCheck::warning(const DbcSignal& signal, std::string text, std::string remedy) {
  if (!has_room_for_problem(file)) return count_problem(file, SchemaProblem::Severity::warning);
  add_problem(file, SchemaProblem::Severity::warning, signal.line, 0, dbc_subject(*message, signal.name),
              std::move(text), std::move(remedy));
}

void DbcCheck::remove(std::size_t signal, std::string text, std::string remedy) {
  removed[signal] = 1;
  error(message->signals[signal], std::move(text), std::move(remedy) + "; the signal is left out");
}

void check_dbc(DbcFile& file) {
  DbcCheck check(file);
  for (DbcMessage& message : file.messages) check_message(check, message);
  check_equal_messages(file);
  sort_problems(file);
}

}  // namespace tramlog
