// The readings of one signal within one step of time, boiled down.
#pragma once

#include <cstdint>

#include "base/decimal.hpp"

namespace tramlog {

class Tally {
 public:
  void add(const Number& number);

  std::uint64_t count() const { return count_; }
  /// The following only with count() > 0. Last, smallest and largest are readings as they came.
  const Number& last() const { return last_; }
  const Number& smallest() const { return smallest_; }
  const Number& largest() const { return largest_; }
  /// Arithmetic mean of the readings, each counting the same, with two places more than they have (halves are
  /// rounded away from zero).
  Number mean() const;

 private:
  __extension__ using Wide = __int128;

  std::uint64_t count_ = 0;
  Number last_, smallest_, largest_;
  bool exact_ = true;  // all readings are exact, with the same places: the sum is `sum_`, else `real_sum_`
  Wide sum_ = 0;       // 2^64 readings would be needed to run over
  double real_sum_ = 0;
};

}  // namespace tramlog
