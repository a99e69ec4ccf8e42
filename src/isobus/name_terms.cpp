// Terms for the fields of a NAME (fact sheet, network and diagnostics, 2.2 to 2.5). What the sheet does not
// vouch for has no term here and is shown as its number.
#include <fmt/format.h>

#include <iterator>
#include <span>

#include "isobus/name.hpp"

namespace tramlog {
namespace {

constexpr std::uint32_t kAgriculture = 2;
constexpr std::uint32_t kNotAvailableClass = 127;
constexpr std::uint32_t kNotAvailableFunction = 255;

constexpr const char* kIndustryGroups[] = {
    "global",   "on-highway", "agriculture and forestry", "construction", "marine", "industrial",
    "reserved", "reserved",
};

// Industry group 2, by device class; 18 is in no source.
constexpr const char* kDeviceClasses[] = {
    "non-specific system",
    "tractor",
    "primary tillage",
    "secondary tillage",
    "planters / seeders",
    "fertilizer",
    "sprayers",
    "harvesters",
    "root harvesters",
    "forage harvesting",
    "irrigation",
    "transport / trailers",
    "farmyard work",
    "powered auxiliary units",
    "special crops",
    "municipal / earth work",
    "skidder",
    "sensor system",
    nullptr,
    "timber harvesters",
    "forwarders",
    "timber loaders",
    "timber processing machines",
    "mulchers",
    "utility vehicles",
    "slurry / manure applicators",
    "feeders / mixers",
    "weeders (non-chemical)",
    "turf / lawn mowers",
    "product / material handling",
};

// Functions 0 to 90 mean the same in every group and class.
constexpr const char* kFunctions[] = {
    "engine",
    "auxiliary power unit",
    "electric propulsion",
    "transmission",
    "battery pack monitor",
    "shift control",
    "PTO rear / primary",
    "steering axle",
    "drive axle",
    "brakes, system",
    "brakes, steer axle",
    "brakes, drive axle",
    "engine retarder",
    "driveline retarder",
    "cruise control",
    "fuel system",
    "steering controller",
    "suspension, steer axle",
    "suspension, drive axle",
    "instrument cluster",
    "trip recorder",
    "cab climate control",
    "aerodynamic control",
    "vehicle navigation (GNSS receiver)",
    "vehicle security",
    "network interconnect ECU (bridge)",
    "body controller",
    "PTO front / secondary",
    "off-vehicle gateway",
    "virtual terminal",
    "management computer",
    "propulsion battery charger",
    "forward collision / headway control",
    "system monitor",
    "hydraulic pump control",
    "suspension, system",
    "pneumatic, system",
    "cab controller",
    "tyre pressure control",
    "ignition control",
    "seat control",
    "lighting, operator controls",
    "water pump control",
    "transmission display",
    "exhaust emission control",
    "vehicle dynamic stability",
    "oil sensor unit",
    "information system",
    "ramp control",
    "clutch / converter control",
    "auxiliary heater",
    "forward collision warning",
    "chassis controller",
    "alternator / charging",
    "communications, cellular",
    "communications, satellite",
    "communications, radio",
    "steering column",
    "fan drive",
    "starter",
    "cab display",
    "file server or printer (older code)",
    "on-board diagnostic unit",
    "engine valve control",
    "endurance braking",
    "gas flow measurement",
    "I/O controller",
    "electrical system controller",
    "aftertreatment gas measurement",
    "engine emission aftertreatment",
    "auxiliary regeneration",
    "transfer case control",
    "coolant valve control",
    "rollover detection",
    "lubrication",
    "supplemental fan",
    "temperature sensor",
    "fuel properties sensor",
    "fire suppression",
    "power systems manager",
    "electric powertrain",
    "hydraulic powertrain",
    "file server",
    "printer",
    "start aid",
    "engine injection control",
    "electric-vehicle communication",
    "driver impairment device",
    "electric power converter",
    "supply equipment control",
    "vehicle charging control",
};
static_assert(std::size(kFunctions) == 91);
static_assert(std::size(kDeviceClasses) == 30);

struct Term {
  std::uint8_t number;
  const char* text;
};

// Industry group 0, device class 0.
constexpr Term kGlobalFunctions[] = {
    {128, "reserved"},
    {129, "off-board diagnostic-service tool"},
    {130, "on-board data logger"},
    {131, "PC keyboard"},
    {132, "safety restraint"},
    {133, "turbocharger"},
    {134, "ground-based speed sensor"},
    {135, "keypad"},
    {136, "humidity sensor"},
    {137, "thermal management"},
    {138, "brake stroke alert"},
    {139, "axle group scale"},
    {140, "axle group scale display"},
    {141, "battery charger"},
    {142, "turbo bypass"},
    {143, "wastegate"},
    {144, "throttle"},
    {145, "inertial sensor"},
    {146, "fuel actuator"},
    {147, "exhaust gas recirculation"},
    {148, "exhaust back pressure"},
    {149, "bin weighing scale"},
    {150, "bin weighing scale display"},
    {151, "cylinder pressure monitor"},
    {152, "object detection"},
    {153, "object detection display"},
    {154, "object detection sensor"},
    {155, "personnel detection"},
};

// Industry group 2.
constexpr Term kNonSpecific[] = {
    {128, "non-VT display"},
    {129, "operator controls, machine specific"},
    {130, "task controller (mapping computer)"},
    {131, "position control"},
    {132, "machine control"},
    {133, "foreign object detection"},
    {134, "tractor ECU"},
    {135, "sequence control master"},
    {136, "product dosing"},
    {137, "product treatment"},
    {139, "data logger"},
    {140, "decision support"},
    {141, "lighting controller"},
    {142, "TIM server"},
};
constexpr Term kTractor[] = {
    {129, "auxiliary valve control"},
    {130, "rear hitch"},
    {131, "front hitch"},
    {134, "centre hitch"},
};
constexpr Term kImplement[] = {
    {128, "rate control"},
    {129, "section on/off control"},
    {131, "position control"},
    {132, "machine control"},
    {133, "product flow"},
    {134, "product level"},
    {135, "depth or height control"},
    {136, "frame control"},
};
constexpr Term kPlanters[] = {{137, "down pressure"}};
constexpr Term kFertilizer[] = {{130, "product pressure"}};
constexpr Term kHarvesters[] = {
    {128, "tailings monitor"},
    {129, "header control"},
    {130, "product loss monitor"},
    {131, "product moisture sensor"},
};
constexpr Term kForage[] = {{128, "twine wrapper"}, {129, "product packaging"}, {131, "product moisture"}};
constexpr Term kTransport[] = {{136, "unload control"}};
constexpr Term kSensors[] = {
    {128, "guidance feeler"},      {129, "camera"},
    {130, "crop scouting"},        {131, "material properties"},
    {132, "inertial measurement"}, {135, "product mass"},
    {136, "vibration / knock"},    {137, "weather instruments"},
    {138, "soil scouting"},
};

const char* find(std::span<const Term> terms, std::uint32_t number) {
  for (const Term& term : terms)
    if (term.number == number) return term.text;
  return nullptr;
}

std::span<const Term> own_terms(std::uint32_t device_class) {
  switch (device_class) {
    case 0:
      return kNonSpecific;
    case 1:
      return kTractor;
    case 4:
      return kPlanters;
    case 5:
      return kFertilizer;
    case 7:
      return kHarvesters;
    case 9:
      return kForage;
    case 11:
      return kTransport;
    case 17:
      return kSensors;
    default:
      return {};
  }
}

/// Classes that share the implement functions as far as they do not give a number a meaning of their own.
constexpr bool has_implement_functions(std::uint32_t device_class) {
  return (device_class >= 2 && device_class <= 6) || (device_class >= 8 && device_class <= 11);
}

const char* known_function(Name name) {
  const std::uint32_t function = name.function();
  if (function == kNotAvailableFunction) return "not available";
  if (function < 128) return function < std::size(kFunctions) ? kFunctions[function] : nullptr;
  if (name.industry_group() == 0 && name.device_class() == 0) return find(kGlobalFunctions, function);
  if (name.industry_group() != kAgriculture) return nullptr;
  if (const char* own = find(own_terms(name.device_class()), function)) return own;
  return has_implement_functions(name.device_class()) ? find(kImplement, function) : nullptr;
}

}  // namespace

std::string industry_group_term(std::uint32_t group) {
  return group < std::size(kIndustryGroups) ? kIndustryGroups[group]
                                            : fmt::format("industry group {}", group);
}

std::string device_class_term(std::uint32_t group, std::uint32_t device_class) {
  if (device_class == kNotAvailableClass) return "not available";
  if (group == kAgriculture && device_class < std::size(kDeviceClasses) && kDeviceClasses[device_class])
    return kDeviceClasses[device_class];
  return fmt::format("device class {}", device_class);
}

std::string function_term(Name name) {
  if (const char* term = known_function(name)) return term;
  return fmt::format("function {}", name.function());
}

}  // namespace tramlog
