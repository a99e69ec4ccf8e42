// Metric, imperial and US units by quantity, as ISO 11783-7's language command (PGN 65039) chooses them.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "base/bytes.hpp"
#include "base/decimal.hpp"

namespace tramlog {

enum class UnitSystem : std::uint8_t { metric, imperial, us };

/// A choice for each quantity that the language command names.
struct UnitChoice {
  UnitSystem distance = UnitSystem::metric, area = UnitSystem::metric, volume = UnitSystem::metric,
             mass = UnitSystem::metric, temperature = UnitSystem::metric, pressure = UnitSystem::metric,
             force = UnitSystem::metric;

  static UnitChoice all(UnitSystem system) {
    return {system, system, system, system, system, system, system};
  }
  bool operator==(const UnitChoice&) const = default;
};

/// "metric", "imperial", "us"; none for anything else.
std::optional<UnitSystem> parse_unit_system(std::string_view word);

/// Payload of a language command, 8 bytes (fact sheet, signals, 1: 65039, and 4). Quantities that say "no
/// action" or carry a reserved code follow the field "units system", else stay as in `before`. None if
/// shorter than 6 bytes.
std::optional<UnitChoice> units_of_language_command(Bytes data, const UnitChoice& before);

/// shown = value x factor + offset.
struct UnitConversion {
  std::string_view unit;  // static text
  double factor = 1;
  double offset = 0;
};
/// None: the unit stays as it is. Metric shows m/s in km/h (the trade's unit on the tractor) and leaves all
/// else as the schema has it; units that are not known stay. Knows the units of dbc/*.dbc and of the data
/// dictionary.
std::optional<UnitConversion> conversion_of(std::string_view unit, const UnitChoice& choice);

/// Keeps about the resolution of the original: the places follow `resolution` (the signal's factor) in the
/// new unit.
Number convert(const Number& number, const UnitConversion& conversion, double resolution);

}  // namespace tramlog
