#include "schema/dbc_index.hpp"

#include <cstring>
#include <functional>

namespace tramlog {
namespace {
constexpr std::size_t kFewSignals = 24;  // up to here a look at each is faster than a hash

// Names in a message often begin alike: the end tells most of them apart.
bool is_same(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return false;
  std::uint64_t end_a = 0, end_b = 0;
  if (a.size() >= sizeof end_a) {
    std::memcpy(&end_a, a.data() + a.size() - sizeof end_a, sizeof end_a);
    std::memcpy(&end_b, b.data() + b.size() - sizeof end_b, sizeof end_b);
    if (end_a != end_b) return false;
  }
  return a == b;
}

}  // namespace

DbcMessage* DbcIndex::message(DbcKey key) {
  if (last_message_ < messages_.size() && key_of(messages_[last_message_]) == key)
    return &messages_[last_message_];
  if (last_message_ + 1 < messages_.size() && key_of(messages_[last_message_ + 1]) == key) {
    last_signal_ = 0;
    return &messages_[++last_message_];
  }
  for (; keyed_ < messages_.size(); ++keyed_)
    by_key_.emplace(key_of(messages_[keyed_]), static_cast<std::uint32_t>(keyed_));
  const auto found = by_key_.find(key);
  if (found == by_key_.end()) return nullptr;
  last_message_ = found->second;
  last_signal_ = 0;
  return &messages_[last_message_];
}

std::uint64_t DbcIndex::hash_of(DbcKey key, std::string_view name) {
  return (std::hash<std::string_view>{}(name) ^ key) * 0x9E37'79B9'7F4A'7C15u;
}

void DbcIndex::catch_up() {
  for (; hashed_.message < messages_.size(); ++hashed_.message, hashed_.signal = 0) {
    const DbcMessage& message = messages_[hashed_.message];
    for (; hashed_.signal < message.signals.size(); ++hashed_.signal)
      by_name_.emplace(hash_of(key_of(message), message.signals[hashed_.signal].name), hashed_);
    if (hashed_.message + 1 == messages_.size()) return;  // more signals may come
  }
}

DbcSignal* DbcIndex::signal(DbcKey key, std::string_view name, DbcMessage*& owner) {
  owner = message(key);
  if (owner == nullptr) return nullptr;
  std::vector<DbcSignal>& signals = owner->signals;
  for (std::uint32_t i = last_signal_; i < signals.size() && i <= last_signal_ + 1; ++i)
    if (is_same(signals[i].name, name)) return &signals[last_signal_ = i];
  if (signals.size() <= kFewSignals) {
    for (std::uint32_t i = 0; i < signals.size(); ++i)
      if (is_same(signals[i].name, name)) return &signals[last_signal_ = i];
  }
  // Large messages; and of equal identifiers another message may have it.
  if (signals.size() <= kFewSignals && by_key_.size() == messages_.size()) return nullptr;
  catch_up();
  const auto found = by_name_.find(hash_of(key, name));
  if (found == by_name_.end()) return nullptr;
  DbcMessage& message = messages_[found->second.message];
  DbcSignal& signal = message.signals[found->second.signal];
  if (key_of(message) != key || signal.name != name) return nullptr;
  owner = &message;
  last_message_ = found->second.message;
  last_signal_ = found->second.signal;
  return &signal;
}

}  // namespace tramlog
