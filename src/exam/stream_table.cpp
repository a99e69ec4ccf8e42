#include "exam/stream_table.hpp"

namespace tramlog {
namespace {
constexpr unsigned kFirstBits = 10;
}

StreamTable::StreamTable() : entries_(std::size_t{1} << kFirstBits, Entry{0, nullptr}) {
  mask_ = entries_.size() - 1;
  shift_ = 64 - kFirstBits;
}

Stream* StreamTable::add(std::uint32_t key) {
  if (streams_.size() >= kMaxStreams) {
    ++refused_;
    return nullptr;
  }
  if ((streams_.size() + 1) * 2 > entries_.size()) grow();
  std::size_t at = hash(key);
  while (entries_[at].stream != nullptr) at = (at + 1) & mask_;
  streams_.emplace_back();
  entries_[at] = {key, &streams_.back()};
  return entries_[at].stream;
}

void StreamTable::grow() {
  std::vector<Entry> old = std::move(entries_);
  entries_.assign(old.size() * 2, Entry{0, nullptr});
  mask_ = entries_.size() - 1;
  --shift_;
  for (const Entry& entry : old) {
    if (entry.stream == nullptr) continue;
    std::size_t at = hash(entry.key);
    while (entries_[at].stream != nullptr) at = (at + 1) & mask_;
    entries_[at] = entry;
  }
}

}  // namespace tramlog
