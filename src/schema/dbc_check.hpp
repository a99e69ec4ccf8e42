// The parts of check_dbc(): one message at a time.
#pragma once

#include <cstdint>
#include <unordered_map>
#include <vector>

#include "schema/dbc_file.hpp"
#include "schema/dbc_limits.hpp"

namespace tramlog {

/// Signals are named by their index in the message. The vectors keep their memory from message to message.
struct DbcCheck {
  static constexpr std::int32_t kNoParent = -1;

  explicit DbcCheck(DbcFile& checked) : file(checked) {}

  DbcFile& file;
  DbcMessage* message = nullptr;
  std::vector<char> removed;
  std::vector<std::int32_t> parent;  // the multiplexor that chooses the signal, or kNoParent
  std::size_t overlap_checks_left = kMaxDbcOverlapChecks;

  void error(const DbcSignal& signal, std::string text, std::string remedy);
  void warning(const DbcSignal& signal, std::string text, std::string remedy);
  /// An error that takes the signal out.
  void remove(std::size_t signal, std::string text, std::string remedy);
};

inline bool is_multiplexed(const DbcSignal& signal) {
  return signal.multiplex_code || !signal.multiplexor.empty() || !signal.multiplex_ranges.empty();
}

/// Largest raw value that the signal's bits hold.
inline std::uint64_t dbc_largest_raw(const DbcSignal& signal) {
  return signal.bit_length >= 64 ? UINT64_MAX : (std::uint64_t{1} << signal.bit_length) - 1;
}

/// Finds the parent of every signal; removes signals whose presence cannot be decided.
void check_dbc_multiplexing(DbcCheck& check);
/// Tells signals that share bits and can be present together.
void check_dbc_overlaps(DbcCheck& check);
/// Codes and range of one signal against its bits.
void check_dbc_values(DbcCheck& check, const DbcSignal& signal);

}  // namespace tramlog
