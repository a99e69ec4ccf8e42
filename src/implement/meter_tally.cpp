#include "implement/meter_tally.hpp"

#include <algorithm>

namespace tramlog {

void Episodes::note(bool holds, double span_s, double limit_s, Mark begin) {
  if (!holds) {
    interrupt();
    return;
  }
  if (run_s_ <= 0) begin_ = begin;
  run_s_ += span_s;
  total_s += span_s;
  longest_s = std::max(longest_s, run_s_);
  if (run_s_ < limit_s || told_) return;
  told_ = true;
  ++count;
  if (moments.size() < kMaxMoments) moments.push_back({begin_, {}});
}

void Episodes::add(const Episodes& others) {
  count += others.count;
  total_s += others.total_s;
  longest_s = std::max(longest_s, others.longest_s);
  for (const Moment& moment : others.moments)
    if (moments.size() < kMaxMoments) moments.push_back(moment);
}

}  // namespace tramlog
