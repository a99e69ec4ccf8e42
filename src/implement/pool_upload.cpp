#include "implement/pool_upload.hpp"

#include <fmt/format.h>

#include <utility>

namespace tramlog {

void PoolUpload::clear() {
  announced_.reset();
  parts_.clear();
  bytes_.clear();
  unheard_ = received_ = false;
  settled_ = 0;
}

std::uint64_t PoolUpload::settle() {
  settled_ = bytes_.size();
  return std::exchange(fresh_, 0);
}

void PoolUpload::on_announced(std::uint32_t bytes) {
  const std::uint64_t before = received_ && complete() ? *announced_ : 0;
  if (before == 0) clear();
  announced_ = before + bytes;
}

void PoolUpload::on_part(Bytes part, Mark at) {
  received_ = false;
  fresh_ += part.size();
  if (part.size() > kMaxPoolBytes - bytes_.size() || parts_.size() >= kMaxParts) {
    unheard_ = true;
    return;
  }
  parts_.push_back({bytes_.size(), at});
  bytes_.insert(bytes_.end(), part.begin(), part.end());
}

void PoolUpload::on_failed_part(Mark began, bool unheard) {
  if (!running()) return;
  unheard_ = unheard_ || unheard;
  // A message is handed over with its last packet; if its sender then did not learn that it arrived, it comes
  // again.
  if (!parts_.empty() && parts_.back().at.frame == began.frame) on_refused_part();
}

void PoolUpload::on_refused_part() {
  if (parts_.empty()) return;
  bytes_.resize(parts_.back().begin);
  parts_.pop_back();
}

void PoolUpload::on_blind() {
  if (running()) unheard_ = true;
}

bool PoolUpload::complete() const {
  if (!announced_ || parts_.empty()) return false;
  return bytes_.size() == *announced_ || bytes_.size() + parts_.size() == *announced_;
}

std::string PoolUpload::mismatch() const {
  if (!announced_ || complete() || unheard()) return {};
  return fmt::format("{} bytes were announced, but {} were sent", *announced_, bytes_.size());
}

bool PoolUpload::unheard() const {
  if (complete()) return false;
  return unheard_ || (announced_ && bytes_.empty());
}

}  // namespace tramlog
