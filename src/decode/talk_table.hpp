// Finds what is known of a frame's identifier: one lookup in an open-addressing table, nothing allocated once
// it was seen. Internal to the Interpreter.
#pragma once

#include <cstdint>
#include <deque>
#include <vector>

#include "decode/interpreter.hpp"

namespace tramlog {

/// A Talk and the decisions that hold until somebody's name changes.
struct TalkState {
  Talk talk;
  enum class Kind : std::uint8_t { plain, claim, language, transport, fast_packet };
  Kind kind = Kind::plain;
  bool wanted = false;       // in this generation
  bool wanted_stray = false; // not wanted as one piece of many, but if it belongs to no transfer
  bool overflow = false;     // stands for all identifiers beyond the cap
  bool multiplexed = false;  // the message shows different signals from time to time
  const Teller* teller = nullptr;
  const std::vector<const SignalSpec*>* signals = nullptr;  // the wanted ones; null: all
  std::uint32_t names_version = 0;                          // Speakers::version() when looked at last
  std::uint32_t from_version = 0, to_version = 0;
  // What the last payload of eight bytes said, if there is room to remember it.
  bool keeps_readings = false;
  bool has_payload = false;
  std::uint64_t payload = 0;
  std::vector<Reading> readings;
};

class TalkTable {
 public:
  TalkTable() : entries_(std::size_t{1} << kFirstBits) { mask_ = entries_.size() - 1; }

  static std::uint64_t key_of(const Event& frame) {
    const std::uint64_t form = frame.flags & (kExtendedId | kRemote | kFd);
    return std::uint64_t{frame.bus} << 48 | form << 36 | frame.id;
  }
  static std::uint64_t key_of(const Message& message) {
    return std::uint64_t{message.bus} << 48 | std::uint64_t{1} << 40 | std::uint64_t{message.pgn} << 16 |
           std::uint64_t{message.destination} << 8 | message.source;
  }

  /// Null if it is new. Addresses stay valid.
  TalkState* find(std::uint64_t key) const {
    for (std::size_t at = hash(key);; at = (at + 1) & mask_) {
      const Entry& entry = entries_[at];
      if (entry.talk == nullptr || entry.key == key) return entry.talk;
    }
  }

  /// Null when the cap is reached.
  TalkState* add(std::uint64_t key) {
    if (talks_.size() >= Interpreter::kMaxTalks) return nullptr;
    if ((talks_.size() + 1) * 2 > entries_.size()) grow();
    talks_.emplace_back();
    talks_.back().talk.slot = static_cast<std::uint32_t>(talks_.size() - 1);
    place({key, &talks_.back()});
    return &talks_.back();
  }

 private:
  struct Entry {
    std::uint64_t key = 0;
    TalkState* talk = nullptr;
  };
  static constexpr unsigned kFirstBits = 11;

  std::size_t hash(std::uint64_t key) const { return (key * 0x9E3779B97F4A7C15ull) >> shift_; }
  void place(const Entry& entry) {
    std::size_t at = hash(entry.key);
    while (entries_[at].talk != nullptr) at = (at + 1) & mask_;
    entries_[at] = entry;
  }
  void grow() {
    std::vector<Entry> old(entries_.size() * 2);
    old.swap(entries_);
    mask_ = entries_.size() - 1;
    --shift_;
    for (const Entry& entry : old)
      if (entry.talk != nullptr) place(entry);
  }

  std::vector<Entry> entries_;
  std::deque<TalkState> talks_;
  std::size_t mask_ = 0;
  unsigned shift_ = 64 - kFirstBits;
};

}  // namespace tramlog
