// Finds messages and signals by identifier and name while a DBC file is read: statements mostly follow the
// order of the signals, so the last hit and its neighbours are looked at first.
#pragma once

#include <cstdint>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "schema/dbc_file.hpp"

namespace tramlog {

/// A message's identifier with bit 31 for 29-bit ones, whether the file wrote that bit or not.
using DbcKey = std::uint32_t;
inline constexpr DbcKey kDbcExtendedBit = 0x8000'0000;

class DbcIndex {
 public:
  explicit DbcIndex(std::vector<DbcMessage>& messages) : messages_(messages) {}

  /// The first message with this identifier, or null.
  DbcMessage* message(DbcKey key);
  /// The signal of that name in it; of equal identifiers in the first that has it. Null if there is none.
  /// `owner` is set to its message.
  DbcSignal* signal(DbcKey key, std::string_view name, DbcMessage*& owner);

 private:
  static DbcKey key_of(const DbcMessage& message) {
    return message.extended ? message.id | kDbcExtendedBit : message.id;
  }
  static std::uint64_t hash_of(DbcKey key, std::string_view name);
  void catch_up();

  struct Place {
    std::uint32_t message = 0, signal = 0;
  };
  std::vector<DbcMessage>& messages_;
  std::unordered_map<DbcKey, std::uint32_t> by_key_;
  std::size_t keyed_ = 0;  // messages that by_key_ holds
  std::unordered_map<std::uint64_t, Place> by_name_;
  Place hashed_;  // up to here by_name_ holds all
  std::uint32_t last_message_ = 0;
  std::uint32_t last_signal_ = 0;
};

}  // namespace tramlog
