// From a 32-bit key (identifier, PGN) to a stored message: open addressing, as a frame asks up to three
// times.
#pragma once

#include <algorithm>
#include <bit>
#include <cstdint>
#include <utility>
#include <vector>

namespace tramlog {

struct StoredMessage;

class MessageIndex {
 public:
  /// Null if there is none.
  StoredMessage* find(std::uint32_t key) const {
    if (slots_.empty()) return nullptr;
    for (std::size_t at = begin_of(key);; at = (at + 1) & mask_) {
      const Slot& slot = slots_[at];
      if (!slot.used || slot.key == key) return slot.message;
    }
  }

  /// What the key stands for, to be set; null if it is new. Valid until the next call.
  StoredMessage*& operator[](std::uint32_t key) {
    if (slots_.empty() || used_ >= slots_.size() / 2) grow(used_ + 1);
    std::size_t at = begin_of(key);
    while (slots_[at].used && slots_[at].key != key) at = (at + 1) & mask_;
    Slot& slot = slots_[at];
    if (!slot.used) {
      slot = {nullptr, key, true};
      ++used_;
    }
    return slot.message;
  }

  void reserve_more(std::size_t keys) {
    if (used_ + keys > slots_.size() / 2) grow(used_ + keys);
  }

  template <class Use>
  void for_each(Use use) const {
    for (const Slot& slot : slots_)
      if (slot.message != nullptr) use(*slot.message);
  }

 private:
  struct Slot {
    StoredMessage* message = nullptr;
    std::uint32_t key = 0;
    bool used = false;
  };

  std::size_t begin_of(std::uint32_t key) const {
    return static_cast<std::size_t>(key * 0x9E37'79B9'7F4A'7C15u >> shift_);
  }

  // At least twice as many slots as keys.
  void grow(std::size_t keys) {
    constexpr std::size_t kFewest = 16;
    std::vector<Slot> before(std::bit_ceil(std::max(kFewest, keys * 2 + 1)));
    std::swap(before, slots_);
    mask_ = slots_.size() - 1;
    shift_ = 64 - std::countr_zero(slots_.size());
    for (const Slot& slot : before) {
      if (!slot.used) continue;
      std::size_t at = begin_of(slot.key);
      while (slots_[at].used) at = (at + 1) & mask_;
      slots_[at] = slot;
    }
  }

  std::vector<Slot> slots_;
  std::size_t mask_ = 0, used_ = 0;
  int shift_ = 0;
};

}  // namespace tramlog
