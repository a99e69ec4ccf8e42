#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <span>

#include "schema/dbc_check.hpp"
#include "schema/dbc_problems.hpp"

namespace tramlog {
namespace {

constexpr std::int32_t kNoParent = DbcCheck::kNoParent;

// Bits of a message: byte / 8, and within the byte from the least significant bit.
struct Piece {
  std::uint64_t first = 0, end = 0;
  std::uint32_t signal = 0;
};

// A signal's bits as runs in that numbering. Motorola: the rest of the first byte downwards, whole bytes, the
// upper part of the last byte.
void add_pieces(const DbcSignal& signal, std::uint32_t index, std::vector<Piece>& pieces) {
  const std::uint64_t start = signal.start_bit;
  const std::uint64_t length = signal.bit_length;
  if (signal.order == ByteOrder::little) {
    pieces.push_back({start, start + length, index});
    return;
  }
  const std::uint64_t byte = start / 8 * 8;
  const std::uint64_t in_first = start % 8 + 1;
  if (length <= in_first) {
    pieces.push_back({start + 1 - length, start + 1, index});
    return;
  }
  pieces.push_back({byte, start + 1, index});
  const std::uint64_t whole = (length - in_first) / 8 * 8;
  const std::uint64_t rest = (length - in_first) % 8;
  if (whole > 0) pieces.push_back({byte + 8, byte + 8 + whole, index});
  if (rest > 0) pieces.push_back({byte + 8 + whole + 8 - rest, byte + 8 + whole + 8, index});
}

// The piece that reaches furthest, of a group in which every two signals are present together.
struct Reach {
  std::uint64_t end = 0;
  std::uint32_t signal = 0;

  void take(const Piece& piece) {
    if (piece.end > end) *this = {piece.end, piece.signal};
  }
};

// A sweep over the pieces by their first bit. Signals without multiplexing, and those that one code of the
// message's only top multiplexor chooses, are compared with what reaches furthest in their group; only the
// others (ranges, multiplexors below multiplexors) are compared one by one.
class Sweep {
 public:
  explicit Sweep(DbcCheck& check) : check_(check), signals_(check.message->signals) {}

  void run() {
    bool multiplexed = false;
    for (std::uint32_t i = 0; i < signals_.size(); ++i) {
      if (check_.removed[i]) continue;
      add_pieces(signals_[i], i, pieces_);
      multiplexed = multiplexed || check_.parent[i] != kNoParent;
    }
    const auto by_bit = [](const Piece& a, const Piece& b) { return a.first < b.first; };
    if (!std::is_sorted(pieces_.begin(), pieces_.end(), by_bit))
      std::sort(pieces_.begin(), pieces_.end(), [](const Piece& a, const Piece& b) {
        return a.first != b.first ? a.first < b.first : a.signal < b.signal;
      });
    if (!multiplexed) {
      for (const Piece& piece : pieces_) take_plain(piece);
      return;
    }
    sort_into_groups();
    mark_.assign(signals_.size(), kUnmarked);
    for (const Piece& piece : pieces_) {
      if (check_.parent[piece.signal] == kNoParent)
        take_plain(piece);
      else if (!one_by_one_[piece.signal])
        take_single(piece);
      else
        take_other(piece);
      all_.take(piece);
    }
  }

 private:
  static constexpr std::int32_t kUnmarked = -2;
  static constexpr std::int32_t kItself = -1;

  void sort_into_groups() {
    std::int32_t top = kNoParent;
    bool several = false;
    for (std::size_t i = 0; i < signals_.size(); ++i) {
      const std::int32_t parent = check_.removed[i] ? kNoParent : check_.parent[i];
      if (parent == kNoParent || check_.parent[static_cast<std::size_t>(parent)] != kNoParent) continue;
      several = several || (top != kNoParent && top != parent);
      top = parent;
    }
    one_by_one_.assign(signals_.size(), 0);
    for (std::size_t i = 0; i < signals_.size(); ++i) {
      const std::int32_t parent = check_.removed[i] ? kNoParent : check_.parent[i];
      if (parent == kNoParent) continue;
      const auto ranges = ranges_of(i);
      one_by_one_[i] = several || parent != top || ranges.size() != 1 || ranges[0].first != ranges[0].last;
      any_one_by_one_ = any_one_by_one_ || one_by_one_[i];
    }
  }

  // Valid until the next call.
  std::span<const RawRange> ranges_of(std::size_t i) {
    const DbcSignal& signal = signals_[i];
    if (!signal.multiplex_ranges.empty()) return signal.multiplex_ranges;
    const std::uint64_t code = signal.multiplex_code.value_or(0);
    single_ = {code, code};
    return {&single_, 1};
  }

  void take_plain(const Piece& piece) {
    if (check_.parent[piece.signal] == kNoParent && piece.first < plain_.end)
      tell(piece, plain_.signal);
    else if (piece.first < all_.end)
      tell(piece, all_.signal);
    plain_.take(piece);
  }

  void take_single(const Piece& piece) {
    if (piece.first < plain_.end) tell(piece, plain_.signal);
    Reach& reach = singles_[ranges_of(piece.signal)[0].first];
    if (piece.first < reach.end) tell(piece, reach.signal);
    reach.take(piece);
    if (!any_one_by_one_) return;
    compare(piece, others_);
    active_singles_.push_back(piece);
  }

  void take_other(const Piece& piece) {
    if (piece.first < plain_.end) tell(piece, plain_.signal);
    compare(piece, others_);
    compare(piece, active_singles_);
    others_.push_back(piece);
  }

  void compare(const Piece& piece, std::vector<Piece>& active) {
    for (std::size_t i = 0; i < active.size() && !told(piece.signal);) {
      if (check_.overlap_checks_left == 0) return tell_given_up();
      spend();
      const Piece other = active[i];
      if (other.end <= piece.first) {  // over for all that follow, too
        active[i] = active.back();
        active.pop_back();
        continue;
      }
      ++i;
      if (other.signal != piece.signal && together(piece.signal, other.signal)) {
        tell(piece, other.signal);
        return;
      }
    }
  }

  // Two signals can only exclude each other at the multiplexor where their ways up meet: by its values.
  bool together(std::uint32_t a, std::uint32_t b) {
    std::int32_t below = kItself;
    for (auto at = static_cast<std::int32_t>(a); at != kNoParent; at = parent(at)) {
      mark_[static_cast<std::size_t>(at)] = below;
      below = at;
      spend();
    }
    bool result = true;
    below = kItself;
    for (auto at = static_cast<std::int32_t>(b); at != kNoParent; at = parent(at)) {
      const std::int32_t meets = mark_[static_cast<std::size_t>(at)];
      if (meets != kUnmarked) {
        if (meets != kItself && below != kItself)
          result = meet(static_cast<std::size_t>(meets), static_cast<std::size_t>(below));
        break;
      }
      below = at;
      spend();
    }
    for (auto at = static_cast<std::int32_t>(a); at != kNoParent; at = parent(at))
      mark_[static_cast<std::size_t>(at)] = kUnmarked;
    return result;
  }

  bool meet(std::size_t a, std::size_t b) {
    const std::span<const RawRange> first = ranges_of(a);
    RawRange kept;
    std::span<const RawRange> ranges = first;
    if (first.data() == &single_) {
      kept = single_;
      ranges = {&kept, 1};
    }
    for (const RawRange& x : ranges_of(b))
      for (const RawRange& y : ranges) {
        spend();
        if (x.first <= y.last && y.first <= x.last) return true;
        if (check_.overlap_checks_left == 0) return false;
      }
    return false;
  }

  std::int32_t parent(std::int32_t i) const { return check_.parent[static_cast<std::size_t>(i)]; }
  void spend() { check_.overlap_checks_left -= check_.overlap_checks_left > 0 ? 1 : 0; }
  bool told(std::uint32_t i) const { return !told_.empty() && told_[i] != 0; }

  // Once a signal: the one that stands later in the file is told.
  void tell(const Piece& piece, std::uint32_t other) {
    if (piece.signal == other) return;
    const std::uint32_t later = std::max(piece.signal, other);
    const std::uint32_t earlier = std::min(piece.signal, other);
    if (told_.empty()) told_.assign(signals_.size(), 0);
    if (told_[later] != 0) return;
    told_[later] = 1;
    check_.warning(
        signals_[later],
        fmt::format("it shares bit {} of byte {} with \"{}\" in line {}", piece.first % 8,
                    piece.first / 8 + 1, quoted_piece(signals_[earlier].name), signals_[earlier].line),
        "correct start bit and length of one of them");
  }

  void tell_given_up() {
    if (given_up_) return;
    given_up_ = true;
    add_problem(check_.file, SchemaProblem::Severity::warning, check_.message->line, 0,
                dbc_subject(*check_.message),
                "it has too many multiplexed signals in the same place to compare each with each",
                "look for signals that share bits yourself, or split the file");
  }

  DbcCheck& check_;
  const std::vector<DbcSignal>& signals_;
  std::vector<Piece> pieces_, active_singles_, others_;
  std::vector<char> told_, one_by_one_;
  std::vector<std::int32_t> mark_;
  std::unordered_map<std::uint64_t, Reach> singles_;
  Reach plain_, all_;
  RawRange single_;
  bool any_one_by_one_ = false, given_up_ = false;
};

}  // namespace

void check_dbc_overlaps(DbcCheck& check) {
  Sweep(check).run();
}

}  // namespace tramlog
