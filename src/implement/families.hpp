// Which DDIs belong together: set, actual, default, minimum and maximum of one quantity, and the totals of
// its dimension (ISO 11783-11; fact sheet, process data, 5.1). The order of their numbers differs between
// families: never calculate one from another.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "isobus/process_data.hpp"

namespace tramlog {

/// What is delivered. Base units: mm3, mg, pieces.
enum class Amount : std::uint8_t { none, volume, mass, count };
/// What the rate is related to.
enum class RatePer : std::uint8_t {
  none,      // no flow: depth, width, pressure ..
  area,      // m2
  time,      // s
  distance,  // m
  spacing,   // mm between two pieces; 0 = nothing delivered
  product,   // of another product: per m3, per kg
  share,     // ppm
};

/// A total of the same dimension: its dictionary unit in base units of Amount ("81 counts kg": 1e6 mg).
struct FamilyTotal {
  std::uint16_t ddi = kNoDdi;
  double base_per_unit = 0;
};

struct QuantityFamily {
  const char* quantity;  // "mass per area"
  std::uint16_t set, actual, fallback, minimum,
      maximum;  // fallback: the default rate; kNoDdi where the dictionary has none
  Amount amount = Amount::none;
  RatePer per = RatePer::none;
  double base_per_unit =
      0;  // the rate's dictionary unit in base units of Amount per m2, s, m; 0 where that says nothing
  std::array<FamilyTotal, 2> task_totals{};
  FamilyTotal lifetime_total{};

  /// Something that flows while the machine works.
  bool is_rate() const { return per != RatePer::none; }
};

/// All of 5.1 that have numbers as values; states (work state, tramlines, modes) are not among them.
std::span<const QuantityFamily> quantity_families();
/// The family with this DDI as set or actual value; null if there is none.
const QuantityFamily* family_of(std::uint16_t set_or_actual_ddi);

}  // namespace tramlog
