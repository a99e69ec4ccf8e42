#include "io/capture_parser.hpp"

#include <utility>

namespace tramlog {

void CaptureParser::count(const Event& event) {
  if (event.kind == EventKind::foreign) {
    ++tally_.foreign;
    return;
  }
  ++tally_.packets;
  tally_.fingerprint.add(event);
}

void CaptureParser::begin_damage(std::string reason) {
  damage_active_ = true;
  damage_reason_ = std::move(reason);
  damage_offset_ = window_.offset();
  damage_file_bytes_ = 0;
  damage_is_doubt_ = false;
  after_gap_ = false;
  ends_inside_ = false;
}

void CaptureParser::end_damage(EventBatch& batch, bool ended) {
  const std::uint64_t skipped = window_.offset() - damage_offset_;
  const bool doubt = damage_is_doubt_ && skipped == 0;
  const Damage::Kind kind = doubt   ? Damage::Kind::doubtful
                            : ended ? Damage::Kind::breaks_off
                                    : Damage::Kind::unreadable;
  // A gap in compressed data may lose no byte that can be counted in the uncompressed file.
  tell_damage(batch, damage_offset_, doubt || skipped > 0 ? skipped : damage_file_bytes_, std::move(damage_reason_),
              kind);
  damage_active_ = false;
  damage_reason_.clear();
}

void CaptureParser::tell_damage(EventBatch& batch, std::uint64_t offset, std::uint64_t bytes,
                                std::string reason, Damage::Kind kind) {
  tally_.damaged_bytes += bytes;
  Damage damage{offset, bytes, std::move(reason), file_, kind};
  if (sink_ != nullptr) sink_->damage(damage);
  batch.add_notice(last_time_, 0, std::move(damage));
}

bool CaptureParser::go_past_tail() {
  if (window_.tail() != ByteWindow::Tail::gap) return false;
  const Gap& gap = window_.gap();
  if (!damage_active_) {
    begin_damage(gap.reason);
    damage_is_doubt_ = gap.doubtful;
  } else if (ends_inside_) {
    damage_reason_ = gap.reason;  // that is why it ended
  } else if (!after_gap_) {
    damage_reason_ += "; then " + gap.reason;  // one is enough, there may be thousands
  }
  damage_is_doubt_ = damage_is_doubt_ && gap.doubtful;
  after_gap_ = true;
  ends_inside_ = false;
  damage_file_bytes_ += gap.file_bytes;
  tally_.read_error = true;
  window_.pass_gap();
  return true;
}

}  // namespace tramlog
