// The messages of one DBC file as a Schema keeps them. A file may hold thousands of messages of which a bus
// has forty: what reads a message (names, scaling, tables of codes) is only made when somebody asks for it.
#pragma once

#include <atomic>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "schema/schema.hpp"

namespace tramlog {

class MessageStore;

/// One message: what finding it needs, and the way to the rest.
struct StoredMessage {
  std::atomic<const MessageSpec*> made{nullptr};
  MessageStore* store = nullptr;
  std::uint32_t id = 0;
  Pgn pgn = 0;
  std::uint32_t line = 0;
  std::uint32_t number = 0;  // in its file
  std::uint32_t length = 0;
  std::uint16_t layer = 0;
  bool extended = false;
  bool exact_only = false;
  std::string name;
};

/// Schemas share it, and threads may ask at the same time.
class MessageStore {
 public:
  MessageStore(DbcFile&& file, std::uint16_t layer);
  MessageStore(const MessageStore&) = delete;
  MessageStore& operator=(const MessageStore&) = delete;

  std::size_t size() const { return size_; }
  StoredMessage& operator[](std::size_t number) { return stored_[number]; }
  /// Signals that the specs have, or will have.
  std::size_t signals() const { return signals_; }

  /// The same object each time; it lives as long as the store.
  static const MessageSpec* spec(StoredMessage& message) {
    const MessageSpec* const made = message.made.load(std::memory_order_acquire);
    return made != nullptr ? made : message.store->make(message);
  }

 private:
  const MessageSpec* make(StoredMessage& message);

  std::unique_ptr<StoredMessage[]> stored_;
  std::size_t size_ = 0, signals_ = 0;
  std::mutex making_;  // guards what follows
  DbcFile file_;       // its messages are used up one by one
  std::vector<std::unique_ptr<const MessageSpec>> specs_;
};

}  // namespace tramlog
