// A file whose parts were written in the wrong order: which stretches it is made of, and how they belong.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "base/time.hpp"

namespace tramlog {

/// Blocks that follow each other in the file and in time.
struct Piece {
  std::uint64_t begin = 0, end = 0;  // ordinals of the timed blocks, in the order of the file
  TimeNs first = 0, last = 0;
};

/// How the pieces of a file are read to have them in time order. Empty: as they stand.
struct PiecePlan {
  std::vector<Piece> pieces;      // in the order of the file
  std::vector<std::size_t> turn;  // of each: the reading of the file in which it is taken, from 0
  std::size_t turns = 1;
  std::vector<std::size_t> by_time;  // their indexes

  bool empty() const { return pieces.empty(); }
};

/// Sees the timed blocks of one section in the order of the file. Memory: some bytes a piece, and these are
/// limited.
class PieceOrder {
 public:
  static constexpr std::size_t kMostPieces = 4096;
  static constexpr std::size_t kMostTurns = 16;
  static constexpr std::size_t kFewest = 9;  // blocks that make a piece; fewer are single blocks out of place
  /// Buses are written side by side: so much two pieces may overlap.
  static constexpr SpanNs kOverlap = 100 * kMillisecond;

  void take(TimeNs time);

  /// Of pieces that fit without a hole as soon as they are sorted, and only then: where the recorder's clock
  /// was put back the ends do not meet.
  PiecePlan finish();

 private:
  std::vector<Piece> pieces_;
  Piece candidate_;
  TimeNs at_ = 0, candidate_at_ = 0;
  std::uint64_t taken_ = 0;
  bool over_cap_ = false;
};

}  // namespace tramlog
