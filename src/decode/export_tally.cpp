#include "decode/export_tally.hpp"

#include <algorithm>
#include <cmath>

namespace tramlog {
namespace {

bool same_places(const Number& a, const Number& b) {
  return a.kind == Number::Kind::exact && b.kind == Number::Kind::exact && a.decimals == b.decimals;
}

bool less(const Number& a, const Number& b) {
  if (!same_places(a, b)) return a.to_double() < b.to_double();
  if (a.negative != b.negative) return a.negative;
  return a.negative ? a.magnitude > b.magnitude : a.magnitude < b.magnitude;
}

}  // namespace

void Tally::add(const Number& number) {
  if (count_ == 0) {
    smallest_ = largest_ = number;
    exact_ = number.kind == Number::Kind::exact;
  } else {
    if (less(number, smallest_)) smallest_ = number;
    if (less(largest_, number)) largest_ = number;
    if (exact_ && !same_places(number, last_)) {
      exact_ = false;
      real_sum_ = static_cast<double>(sum_) / std::pow(10.0, last_.decimals);
    }
  }
  if (exact_)
    sum_ += number.negative ? -static_cast<Wide>(number.magnitude) : static_cast<Wide>(number.magnitude);
  else
    real_sum_ += number.to_double();
  last_ = number;
  ++count_;
}

Number Tally::mean() const {
  constexpr int kMorePlaces = 2;
  constexpr Wide kMoreTimes = 100;
  constexpr int kMostExactPlaces = 20, kMostRoundedPlaces = 17;
  Number mean;
  if (exact_ && last_.decimals + kMorePlaces <= kMostExactPlaces) {
    const Wide size = sum_ < 0 ? -sum_ : sum_;
    const auto count = static_cast<Wide>(count_);
    // In two parts, so that the larger numerator needs no more than 128 bits.
    const Wide whole = size / count;
    const Wide magnitude = whole * kMoreTimes + (size % count * kMoreTimes * 2 + count) / (2 * count);
    if (magnitude <= static_cast<Wide>(UINT64_MAX)) {
      mean.magnitude = static_cast<std::uint64_t>(magnitude);
      mean.decimals = static_cast<std::uint8_t>(last_.decimals + kMorePlaces);
      mean.negative = sum_ < 0 && mean.magnitude != 0;
      return mean;
    }
  }
  const double sum = exact_ ? static_cast<double>(sum_) / std::pow(10.0, last_.decimals) : real_sum_;
  mean.kind = last_.kind == Number::Kind::real ? Number::Kind::real : Number::Kind::rounded;
  mean.real = sum / static_cast<double>(count_);
  mean.decimals = static_cast<std::uint8_t>(std::min(last_.decimals + kMorePlaces, kMostRoundedPlaces));
  return mean;
}

}  // namespace tramlog
