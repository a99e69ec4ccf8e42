#include "slice/piece_order.hpp"

#include <algorithm>
#include <numeric>

#include "io/lone_stamp.hpp"

namespace tramlog {
namespace {

void widen(Piece& piece, TimeNs time) {
  piece.first = std::min(piece.first, time);
  piece.last = std::max(piece.last, time);
}

bool goes_back(const std::vector<Piece>& pieces) {
  const auto back = [](const Piece& a, const Piece& b) { return b.first < a.last - PieceOrder::kOverlap; };
  return std::adjacent_find(pieces.begin(), pieces.end(), back) != pieces.end();
}

/// Whether they follow each other without overlap, and without a hole where they did not do so in the file.
bool fits(const std::vector<Piece>& pieces, const std::vector<std::size_t>& order) {
  for (std::size_t k = 0; k + 1 < order.size(); ++k) {
    const SpanNs gap = pieces[order[k + 1]].first - pieces[order[k]].last;
    if (gap < -PieceOrder::kOverlap || (order[k + 1] != order[k] + 1 && gap > kFarOff)) return false;
  }
  return true;
}

}  // namespace

void PieceOrder::take(TimeNs time) {
  const std::uint64_t ordinal = taken_++;
  if (over_cap_) return;
  if (pieces_.empty()) pieces_.push_back({0, 0, time, time});
  if (ordinal == 0 || !is_far_off(time, at_)) {
    widen(pieces_.back(), time);
    at_ = time;
    candidate_ = {};
    return;
  }
  if (candidate_.end == 0 || is_far_off(time, candidate_at_)) candidate_ = {ordinal, 0, time, time};
  candidate_.end = ordinal + 1;
  candidate_at_ = time;
  widen(candidate_, time);
  if (candidate_.end - candidate_.begin < kFewest) return;
  if (pieces_.back().begin + kFewest > candidate_.begin) {
    // What came before them were single blocks out of place.
    const std::uint64_t begin = pieces_.back().begin;
    pieces_.back() = candidate_;
    pieces_.back().begin = begin;
  } else if (pieces_.size() < kMostPieces) {
    pieces_.back().end = candidate_.begin;
    pieces_.push_back(candidate_);
  } else {
    over_cap_ = true;
  }
  at_ = time;
  candidate_ = {};
}

PiecePlan PieceOrder::finish() {
  PiecePlan plan;
  if (over_cap_ || pieces_.size() < 2 || !goes_back(pieces_)) return plan;
  pieces_.back().end = taken_;
  std::vector<std::size_t> order(pieces_.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return pieces_[a].first < pieces_[b].first; });
  if (!fits(pieces_, order)) return plan;
  // Those that stand in the file as they belong are taken in one reading of it.
  std::vector<std::size_t> turn(pieces_.size(), 0);
  std::size_t now = 0;
  for (std::size_t k = 0; k < order.size(); ++k) {
    if (k > 0 && order[k] < order[k - 1]) ++now;
    turn[order[k]] = now;
  }
  if (now >= kMostTurns) return plan;
  plan.pieces = std::move(pieces_);
  plan.turn = std::move(turn);
  plan.turns = now + 1;
  plan.by_time = std::move(order);
  return plan;
}

}  // namespace tramlog
