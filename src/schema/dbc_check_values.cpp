#include <fmt/format.h>

#include <cmath>

#include "schema/dbc_check.hpp"
#include "schema/dbc_problems.hpp"

namespace tramlog {
namespace {

bool is_float(const DbcSignal& signal) {
  return signal.encoding == Encoding::float32 || signal.encoding == Encoding::float64;
}

std::int64_t smallest_code(const DbcSignal& signal) {
  return signal.encoding == Encoding::signed_integer
             ? -1 - static_cast<std::int64_t>(dbc_largest_raw(signal) >> 1)
             : 0;
}

std::uint64_t largest_code(const DbcSignal& signal) {
  return signal.encoding == Encoding::signed_integer ? dbc_largest_raw(signal) >> 1 : dbc_largest_raw(signal);
}

void check_codes(DbcCheck& check, const DbcSignal& signal) {
  const std::int64_t smallest = smallest_code(signal);
  const std::uint64_t largest = largest_code(signal);
  std::size_t misfits = 0;
  std::int64_t example = 0;
  for (const CodeName& named : signal.codes) {
    if (named.code >= smallest && (named.code < 0 || static_cast<std::uint64_t>(named.code) <= largest))
      continue;
    if (++misfits == 1) example = named.code;
  }
  if (misfits == 0) return;
  check.warning(
      signal,
      fmt::format("the code {} of its VAL_ does not fit into {} {} bits, which hold {} to {}{}", example,
                  signal.bit_length, signal.encoding == Encoding::signed_integer ? "signed" : "unsigned",
                  smallest, largest, misfits > 1 ? fmt::format(", nor do {} more", misfits - 1) : ""),
      "correct the code, or the length or sign of the signal");
}

void check_range(DbcCheck& check, const DbcSignal& signal) {
  if (!signal.minimum || !signal.maximum) return;
  const double factor = signal.factor.to_double();
  const double offset = signal.offset.to_double();
  double low = static_cast<double>(smallest_code(signal)) * factor + offset;
  double high = static_cast<double>(largest_code(signal)) * factor + offset;
  if (factor < 0) std::swap(low, high);
  // Ranges are often rounded: half a step is nothing to tell.
  const double slack = std::abs(factor) / 2 + 1e-9 * (std::abs(low) + std::abs(high));
  if (signal.minimum->to_double() >= low - slack && signal.maximum->to_double() <= high + slack) return;
  const bool outside =
      signal.minimum->to_double() > high + slack || signal.maximum->to_double() < low - slack;
  check.warning(
      signal,
      fmt::format("the range [{}|{}] {} its bits can reach: {:.10g} to {:.10g}", signal.minimum->to_string(),
                  signal.maximum->to_string(), outside ? "lies outside of what" : "is wider than", low, high),
      "correct the range, the length, the factor or the offset");
}

}  // namespace

void check_dbc_values(DbcCheck& check, const DbcSignal& signal) {
  if (is_float(signal)) return;
  check_codes(check, signal);
  check_range(check, signal);
}

}  // namespace tramlog
