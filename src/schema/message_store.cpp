#include "schema/message_store.hpp"

#include <utility>

#include "schema/message_spec.hpp"

namespace tramlog {

MessageStore::MessageStore(DbcFile&& file, std::uint16_t layer)
    : stored_(std::make_unique<StoredMessage[]>(file.messages.size())),
      size_(file.messages.size()),
      file_(std::move(file)),
      specs_(size_) {
  for (std::size_t i = 0; i < size_; ++i) {
    DbcMessage& from = file_.messages[i];
    StoredMessage& message = stored_[i];
    message.store = this;
    message.id = from.id;
    message.extended = from.extended;
    message.pgn = from.extended ? pgn_of(from.id) : 0;
    message.exact_only = is_exact_only(from, file_);
    message.line = from.line;
    message.number = static_cast<std::uint32_t>(i);
    message.length = from.length;
    message.layer = layer;
    message.name = std::move(from.name);
    signals_ += count_readable_signals(from);
  }
}

const MessageSpec* MessageStore::make(StoredMessage& message) {
  const std::lock_guard lock(making_);
  if (const MessageSpec* const made = message.made.load(std::memory_order_relaxed)) return made;
  DbcMessage from = std::move(file_.messages[message.number]);
  from.name = message.name;
  auto spec = std::make_unique<MessageSpec>(make_message_spec(std::move(from), file_));
  spec->layer = message.layer;
  for (SignalSpec& signal : spec->signals) signal.message = spec.get();
  const MessageSpec* const made = spec.get();
  specs_[message.number] = std::move(spec);
  message.made.store(made, std::memory_order_release);
  return made;
}

}  // namespace tramlog
