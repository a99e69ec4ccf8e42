#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <string_view>

#include "schema/dbc_check.hpp"
#include "schema/dbc_problems.hpp"

namespace tramlog {
namespace {

class Multiplexing {
 public:
  explicit Multiplexing(DbcCheck& check) : check_(check), signals_(check.message->signals) {}

  void settle() {
    if (std::none_of(signals_.begin(), signals_.end(), is_multiplexed)) return;
    find_plain();
    for (std::size_t i = 0; i < signals_.size(); ++i)
      if (!check_.removed[i] && is_multiplexed(signals_[i])) find_parent(i);
    cut_circles();
    tell_lost();
    for (std::size_t i = 0; i < signals_.size(); ++i)
      if (!check_.removed[i] && check_.parent[i] != DbcCheck::kNoParent) check_codes(i);
  }

 private:
  // Multiplexors that no other chooses: the plain M. One that was removed counts if there is no other, so
  // that the reason told is right.
  void find_plain() {
    for (const bool removed : {false, true}) {
      for (std::size_t i = 0; i < signals_.size(); ++i) {
        if (!signals_[i].is_multiplexor || is_multiplexed(signals_[i])) continue;
        if ((check_.removed[i] != 0) != removed) continue;
        if (plain_count_++ == 0) plain_ = i;
      }
      if (plain_count_ > 0) return;
    }
  }

  void find_parent(std::size_t i) {
    const DbcSignal& signal = signals_[i];
    if (!signal.multiplex_code && signal.multiplex_ranges.empty())
      return check_.remove(i, "it is multiplexed, but no value chooses it", "add a SG_MUL_VAL_ for it");
    std::size_t parent = kNone;
    if (!signal.multiplexor.empty()) {
      parent = named(signal.multiplexor);
      if (parent == kNone)
        return check_.remove(i,
                             fmt::format("its multiplexor \"{}\" (SG_MUL_VAL_) is no signal of the message",
                                         quoted_piece(signal.multiplexor)),
                             "correct the name");
    } else if (plain_count_ == 0 && waits_for_circles()) {
      lost_.push_back(i);
      check_.removed[i] = 1;  // told after the circles
      return;
    } else if (plain_count_ == 0) {
      return tell_no_multiplexor(i);
    } else if (plain_count_ > 1) {
      return check_.remove(i,
                           fmt::format("it is multiplexed, but the message has {} multiplexors (M), and no "
                                       "SG_MUL_VAL_ says which of them chooses it",
                                       plain_count_),
                           "add a SG_MUL_VAL_ for it, or keep one M");
    } else {
      parent = plain_;
    }
    check_.parent[i] = static_cast<std::int32_t>(parent);
    DbcSignal& multiplexor = signals_[parent];
    if (multiplexor.encoding == Encoding::float32 || multiplexor.encoding == Encoding::float64)
      return check_.remove(i,
                           fmt::format("its multiplexor \"{}\" is a float", quoted_piece(multiplexor.name)),
                           "choose by an integer");
    if (!multiplexor.is_multiplexor) {
      check_.warning(multiplexor, "it is used as a multiplexor (SG_MUL_VAL_), but not marked as one",
                     "write M behind its name");
      multiplexor.is_multiplexor = true;
    }
  }

  // Every multiplexor is chosen by another one that SG_MUL_VAL_ names: there may be a circle, which then is
  // the reason why no multiplexor is left for a plain m.
  bool waits_for_circles() {
    if (!waits_)
      waits_ = std::any_of(signals_.begin(), signals_.end(), [](const DbcSignal& signal) {
        return signal.is_multiplexor && !signal.multiplexor.empty();
      });
    return *waits_;
  }

  // What a plain m chooses, where all multiplexors are chosen by another.
  void tell_lost() {
    if (lost_.empty()) return;
    if (!circle_) {
      for (const std::size_t i : lost_) tell_no_multiplexor(i);
      return;
    }
    check_.remove(
        lost_.front(),
        fmt::format("its multiplexor is one of those that go round in a circle{}",
                    lost_.size() > 1 ? fmt::format(", as is that of {} more signals", lost_.size() - 1) : ""),
        "correct the SG_MUL_VAL_");
  }

  void tell_no_multiplexor(std::size_t i) {
    check_.remove(i, "it is multiplexed, but the message has no multiplexor (a signal with M)",
                  "mark the multiplexor with M, or remove the m of this signal");
  }

  std::size_t named(std::string_view name) {
    if (last_ != kNone && signals_[last_].name == name) return last_;
    if (by_name_.empty())
      for (std::size_t i = 0; i < signals_.size(); ++i) by_name_.emplace(signals_[i].name, i);
    const auto found = by_name_.find(name);
    if (found == by_name_.end()) return kNone;
    return last_ = found->second;
  }

  // Follows the multiplexors upwards; a way that comes back to itself, or ends at a removed signal, takes all
  // signals on it out.
  void cut_circles() {
    enum State : char { unknown, on_way, good, bad, circle };
    std::vector<char> state(signals_.size(), unknown);
    std::vector<std::size_t> way;
    for (std::size_t begin = 0; begin < signals_.size(); ++begin) {
      way.clear();
      std::size_t at = begin;
      char verdict = good;
      while (true) {
        if (state[at] == on_way)
          verdict = circle;
        else if (state[at] != unknown)
          verdict = state[at];
        else if (check_.removed[at])
          verdict = state[at] = bad;
        else {
          state[at] = on_way;
          way.push_back(at);
          if (check_.parent[at] == DbcCheck::kNoParent) break;
          at = static_cast<std::size_t>(check_.parent[at]);
          continue;
        }
        break;
      }
      for (auto i = way.rbegin(); i != way.rend(); ++i) {
        state[*i] = verdict;
        if (verdict != good) tell_bad(*i, verdict == circle);
      }
    }
  }

  void tell_bad(std::size_t i, bool in_circle) {
    const std::string_view multiplexor = signals_[static_cast<std::size_t>(check_.parent[i])].name;
    circle_ = circle_ || in_circle;
    if (in_circle)
      check_.remove(i,
                    fmt::format("its multiplexors go round in a circle: \"{}\" is chosen by \"{}\" and so on",
                                quoted_piece(signals_[i].name), quoted_piece(multiplexor)),
                    "correct the SG_MUL_VAL_");
    else
      check_.remove(i, fmt::format("its multiplexor \"{}\" was left out", quoted_piece(multiplexor)),
                    "correct the multiplexor");
  }

  void check_codes(std::size_t i) {
    const DbcSignal& signal = signals_[i];
    const DbcSignal& multiplexor = signals_[static_cast<std::size_t>(check_.parent[i])];
    const std::uint64_t largest = dbc_largest_raw(multiplexor);
    std::uint64_t smallest = signal.multiplex_code.value_or(UINT64_MAX);
    for (const RawRange& range : signal.multiplex_ranges) smallest = std::min(smallest, range.first);
    if (smallest <= largest) return;
    check_.warning(
        signal,
        fmt::format("it is chosen by {} of \"{}\", whose {} bits hold 0 to {}: it never is present", smallest,
                    quoted_piece(multiplexor.name), multiplexor.bit_length, largest),
        "correct the value or the multiplexor's length");
  }

  static constexpr std::size_t kNone = static_cast<std::size_t>(-1);
  DbcCheck& check_;
  std::vector<DbcSignal>& signals_;
  std::size_t plain_ = kNone, plain_count_ = 0, last_ = kNone;
  std::optional<bool> waits_;
  std::vector<std::size_t> lost_;  // what waits for cut_circles()
  bool circle_ = false;
  std::unordered_map<std::string_view, std::size_t> by_name_;
};

}  // namespace

void check_dbc_multiplexing(DbcCheck& check) {
  Multiplexing(check).settle();
}

}  // namespace tramlog
