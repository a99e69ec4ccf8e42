#include "schema/units.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <span>

namespace tramlog {
namespace {

// Exact by definition.
constexpr double kFootM = 0.3048;
constexpr double kInchM = 0.0254;
constexpr double kMileM = 1609.344;
constexpr double kAcreM2 = 4046.8564224;  // 43560 ft2
constexpr double kHectareM2 = 10'000;
constexpr double kPoundKg = 0.45359237;
constexpr double kOunceKg = kPoundKg / 16;
constexpr double kShortTonKg = 2000 * kPoundKg;
constexpr double kLongTonKg = 2240 * kPoundKg;
constexpr double kImperialGallonL = 4.54609;
constexpr double kUsGallonL = 3.785411784;
constexpr double kImperialFluidOunceL = kImperialGallonL / 160;
constexpr double kUsFluidOunceL = kUsGallonL / 128;
constexpr double kGravity = 9.80665;  // m/s2
constexpr double kPoundForceN = kPoundKg * kGravity;
constexpr double kPsiPa = kPoundForceN / (kInchM * kInchM);

enum Quantity : std::uint8_t { distance, area, volume, mass, temperature, pressure, force };

UnitSystem chosen(const UnitChoice& choice, Quantity quantity) {
  switch (quantity) {
    case distance:
      return choice.distance;
    case area:
      return choice.area;
    case volume:
      return choice.volume;
    case mass:
      return choice.mass;
    case temperature:
      return choice.temperature;
    case pressure:
      return choice.pressure;
    case force:
      break;
  }
  return choice.force;
}

// Units of one quantity, the same in the imperial and the US system.
struct Single {
  std::string_view from;
  Quantity quantity;
  UnitConversion to;
};

constexpr Single kSingles[] = {
    {"m/s", distance, {"mph", 3600 / kMileM}},
    {"km/h", distance, {"mph", 1000 / kMileM}},
    {"mm/s", distance, {"in/s", 0.001 / kInchM}},
    {"mm", distance, {"in", 0.001 / kInchM}},
    {"cm", distance, {"in", 0.01 / kInchM}},
    {"m", distance, {"ft", 1 / kFootM}},
    {"km", distance, {"mi", 1000 / kMileM}},
    {"1/km", distance, {"1/mi", kMileM / 1000}},
    {"m2", area, {"ac", 1 / kAcreM2}},
    {"ha", area, {"ac", kHectareM2 / kAcreM2}},
    {"/m2", area, {"/ac", kAcreM2}},
    {"1/m2", area, {"/ac", kAcreM2}},
    {"kWh/m2", area, {"kWh/ac", kAcreM2}},
    {"g", mass, {"oz", 0.001 / kOunceKg}},
    {"kg", mass, {"lb", 1 / kPoundKg}},
    {"kg/h", mass, {"lb/h", 1 / kPoundKg}},
    {"mg/s", mass, {"lb/min", 60e-6 / kPoundKg}},
    {"mg/1000", mass, {"oz/1000", 1e-6 / kOunceKg}},
    {"degC", temperature, {"degF", 1.8, 32}},
    {"mK", temperature, {"degF", 0.0018, -459.67}},
    {"mK difference", temperature, {"degF difference", 0.0018}},
    {"Pa", pressure, {"psi", 1 / kPsiPa}},
    {"kPa", pressure, {"psi", 1000 / kPsiPa}},
    {"bar", pressure, {"psi", 100'000 / kPsiPa}},
    {"N", force, {"lbf", 1 / kPoundForceN}},
    {"kN", force, {"lbf", 1000 / kPoundForceN}},
    {"N*m", force, {"lbf*ft", 1 / (kPoundForceN * kFootM)}},
};

// Volumes: the gallons differ.
struct Volume {
  std::string_view from;
  UnitConversion imperial, us;
};

constexpr Volume kVolumes[] = {
    {"ml", {"imp fl oz", 0.001 / kImperialFluidOunceL}, {"fl oz", 0.001 / kUsFluidOunceL}},
    {"L", {"imp gal", 1 / kImperialGallonL}, {"gal", 1 / kUsGallonL}},
    {"L/h", {"imp gal/h", 1 / kImperialGallonL}, {"gal/h", 1 / kUsGallonL}},
    {"L/min", {"imp gal/min", 1 / kImperialGallonL}, {"gal/min", 1 / kUsGallonL}},
    {"mm3/s", {"imp gal/min", 60e-6 / kImperialGallonL}, {"gal/min", 60e-6 / kUsGallonL}},
    {"ml/s", {"imp gal/min", 0.06 / kImperialGallonL}, {"gal/min", 0.06 / kUsGallonL}},
    {"ml/1000", {"imp fl oz/1000", 0.001 / kImperialFluidOunceL}, {"fl oz/1000", 0.001 / kUsFluidOunceL}},
};

// Two quantities of which one alone would make no sense: only if neither is metric; the volume tells which.
struct Paired {
  std::string_view from;
  Quantity other;
  UnitConversion imperial, us;
};

constexpr Paired kPairs[] = {
    {"km/L", distance, {"imp mpg", 1000 / kMileM* kImperialGallonL}, {"mpg", 1000 / kMileM* kUsGallonL}},
    {"ml/m",
     distance,
     {"imp fl oz/ft", 0.001 / kImperialFluidOunceL* kFootM},
     {"fl oz/ft", 0.001 / kUsFluidOunceL* kFootM}},
    {"mm3/kg",
     mass,
     {"imp fl oz/long ton", 1e-6 / kImperialFluidOunceL* kLongTonKg},
     {"fl oz/short ton", 1e-6 / kUsFluidOunceL* kShortTonKg}},
    {"mg/l",
     mass,
     {"oz/imp gal", 1e-6 / kOunceKg* kImperialGallonL},
     {"oz/gal", 1e-6 / kOunceKg* kUsGallonL}},
};

// Rates per area follow both quantities: a metric partner is what farmers use, kg, L or ha.
struct Rate {
  std::string_view from;
  Quantity amount;
  double base;  // kg or L per m2
};

constexpr Rate kRates[] = {
    {"mg/m2", mass, 1e-6},    {"g/m2", mass, 1e-3},    {"kg/ha", mass, 1 / kHectareM2},
    {"mm3/m2", volume, 1e-6}, {"ml/m2", volume, 1e-3}, {"L/ha", volume, 1 / kHectareM2},
};

std::optional<UnitConversion> rate_conversion(const Rate& rate, const UnitChoice& choice) {
  static constexpr std::string_view kMassNames[2][2] = {{"kg/ha", "kg/ac"}, {"lb/ha", "lb/ac"}};
  static constexpr std::string_view kVolumeNames[3][2] = {
      {"L/ha", "L/ac"}, {"imp gal/ha", "imp gal/ac"}, {"gal/ha", "gal/ac"}};
  static constexpr double kVolumeL[3] = {1, kImperialGallonL, kUsGallonL};
  const UnitSystem amount = chosen(choice, rate.amount);
  const bool acres = choice.area != UnitSystem::metric;
  if (amount == UnitSystem::metric && !acres) return std::nullopt;
  const double land = acres ? kAcreM2 : kHectareM2;
  if (rate.amount == mass) {
    const bool pounds = amount != UnitSystem::metric;
    return UnitConversion{kMassNames[pounds][acres], rate.base * land / (pounds ? kPoundKg : 1)};
  }
  const auto system = static_cast<std::size_t>(amount);
  return UnitConversion{kVolumeNames[system][acres], rate.base * land / kVolumeL[system]};
}

// Two-bit fields of the language command: 0 metric, 1 imperial (with US where there is no difference), 2 US
// for volume, mass and system; else reserved; 3 no action.
std::optional<UnitSystem> system_of_code(unsigned code, bool three) {
  if (code == 0) return UnitSystem::metric;
  if (code == 1) return UnitSystem::imperial;
  if (code == 2 && three) return UnitSystem::us;
  return std::nullopt;
}

}  // namespace

std::optional<UnitSystem> parse_unit_system(std::string_view word) {
  if (word == "metric") return UnitSystem::metric;
  if (word == "imperial") return UnitSystem::imperial;
  if (word == "us") return UnitSystem::us;
  return std::nullopt;
}

std::optional<UnitChoice> units_of_language_command(Bytes data, const UnitChoice& before) {
  if (data.size() < 6) return std::nullopt;
  const auto field = [&](std::size_t byte, unsigned bit) {
    return static_cast<unsigned>(data[byte]) >> bit & 3U;
  };
  const std::optional<UnitSystem> system = system_of_code(field(5, 0), true);
  const auto choose = [&](unsigned code, bool three, UnitSystem earlier) {
    return system_of_code(code, three).value_or(system.value_or(earlier));
  };
  UnitChoice choice;
  choice.mass = choose(field(4, 0), true, before.mass);
  choice.volume = choose(field(4, 2), true, before.volume);
  choice.area = choose(field(4, 4), false, before.area);
  choice.distance = choose(field(4, 6), false, before.distance);
  choice.force = choose(field(5, 2), false, before.force);
  choice.pressure = choose(field(5, 4), false, before.pressure);
  choice.temperature = choose(field(5, 6), false, before.temperature);
  return choice;
}

std::optional<UnitConversion> conversion_of(std::string_view unit, const UnitChoice& choice) {
  if (unit == "m/s" && choice.distance == UnitSystem::metric) return UnitConversion{"km/h", 3.6};
  for (const Single& single : kSingles) {
    if (single.from != unit) continue;
    if (chosen(choice, single.quantity) == UnitSystem::metric) return std::nullopt;
    return single.to;
  }
  for (const Volume& liquid : kVolumes) {
    if (liquid.from != unit) continue;
    if (choice.volume == UnitSystem::metric) return std::nullopt;
    return choice.volume == UnitSystem::us ? liquid.us : liquid.imperial;
  }
  for (const Paired& pair : kPairs) {
    if (pair.from != unit) continue;
    if (choice.volume == UnitSystem::metric || chosen(choice, pair.other) == UnitSystem::metric)
      return std::nullopt;
    return choice.volume == UnitSystem::us ? pair.us : pair.imperial;
  }
  for (const Rate& rate : kRates)
    if (rate.from == unit) return rate_conversion(rate, choice);
  return std::nullopt;
}

Number convert(const Number& number, const UnitConversion& conversion, double resolution) {
  constexpr int kMaxPlaces = 17;
  constexpr int kDigits = 12;  // of a binary fraction: enough for any sensor, short of its rounding errors
  Number converted;
  converted.real = number.to_double() * conversion.factor + conversion.offset;
  if (number.kind != Number::Kind::real && std::isfinite(converted.real)) {
    const double step = std::fabs(resolution * conversion.factor);
    // A hair's breadth, so that a step of 0.01 that was multiplied does not ask for a third place.
    const double places = step > 0 ? std::ceil(-std::log10(step) - 1e-9) : 0;
    converted.kind = Number::Kind::rounded;
    converted.decimals = static_cast<std::uint8_t>(std::clamp(places, 0.0, double{kMaxPlaces}));
    return converted;
  }
  converted.kind = Number::Kind::real;
  if (std::isfinite(converted.real)) {
    std::array<char, 40> text;
    char* const end = std::to_chars(text.data(), text.data() + text.size(), converted.real,
                                    std::chars_format::scientific, kDigits - 1)
                          .ptr;
    std::from_chars(text.data(), end, converted.real);
  }
  return converted;
}

}  // namespace tramlog
