// Walks over the blocks of a segment as its bytes come by: where blocks end, what times they tell, whether
// all are whole.
#pragma once

#include <cstdint>
#include <vector>

#include "base/bytes.hpp"
#include "base/time.hpp"
#include "io/tick_scale.hpp"

namespace tramlog {

class BlockTally {
 public:
  /// What take() is given must hold so many bytes more than what the caller wants to get on by.
  static constexpr std::size_t kLongestBlock = 64 * 1024;

  struct Times {
    bool timed = false;
    TimeNs first = 0, last = 0;  // earliest and latest
    std::uint64_t packets = 0;
  };

  /// `view` begins where the last call left off. Returns how many bytes were taken: whole blocks, and what is
  /// damaged up to the next block. If nothing follows the view, all of it is. A block longer than
  /// kLongestBlock counts as damage.
  std::size_t take(Bytes view, bool nothing_follows);

  /// Of the blocks since the last call.
  Times take_times();

  /// Up to here there were only whole blocks from the first byte on.
  std::uint64_t whole_until() const { return whole_until_; }
  /// Blocks followed behind something that is none.
  bool damaged_in_the_middle() const { return resumed_; }
  /// Blocks other than section headers and interface descriptions, whole ones.
  std::uint64_t contents() const { return contents_; }

 private:
  void block(const std::uint8_t* at, std::size_t length);
  void interface(const std::uint8_t* at, std::size_t length);
  void tell(TimeNs time);

  std::vector<TickScale> scales_;
  Times times_;
  std::uint64_t whole_until_ = 0;
  std::uint64_t contents_ = 0;
  bool swapped_ = false;
  bool order_known_ = false;
  bool searching_ = false;  // for the next block after damage
  std::size_t search_first_ = 0;
  bool broken_ = false;  // there was damage
  bool resumed_ = false;
};

}  // namespace tramlog
