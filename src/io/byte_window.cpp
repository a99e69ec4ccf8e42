#include "io/byte_window.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

namespace tramlog {

ByteWindow::ByteWindow(std::unique_ptr<ByteSource> source, std::size_t capacity)
    : source_(std::move(source)),
      capacity_(capacity),
      space_(new std::uint8_t[capacity + kSlack]),  // not zeroed: pages that are never used are never touched
      at_(space_.get()),
      end_(at_) {
  std::memset(space_.get(), 0, kSlack);
}

void ByteWindow::refill(std::size_t want) {
  if (tail_ != Tail::open) return;
  want = std::min(want, kLargest);
  std::size_t have = available();
  if (want > capacity_) {
    capacity_ = std::min(std::max(2 * want, capacity_), kLargest);
    std::unique_ptr<std::uint8_t[]> larger(new std::uint8_t[capacity_ + kSlack]);
    if (have > 0) std::memcpy(larger.get(), at_, have);
    space_ = std::move(larger);
  } else if (have > 0) {
    std::memmove(space_.get(), at_, have);
  }
  while (have < want || have == 0) {
    const ByteSource::Chunk chunk = source_->read(space_.get() + have, capacity_ - have);
    if (chunk.status == ByteSource::Status::data) {
      have += chunk.size;
      continue;
    }
    tail_ = chunk.status == ByteSource::Status::gap ? Tail::gap : Tail::end;
    break;
  }
  at_ = space_.get();
  end_ = at_ + have;
  std::memset(space_.get() + have, 0, kSlack);
}

void ByteWindow::pass_gap() {
  if (tail_ == Tail::gap) tail_ = Tail::open;
}

}  // namespace tramlog
