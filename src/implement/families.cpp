#include "implement/families.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kNone = kNoDdi;
constexpr double kMm3PerLitre = 1e6, kMm3PerMl = 1e3, kMgPerKg = 1e6, kMgPerGram = 1e3;

constexpr std::array<FamilyTotal, 2> kVolumes{{{80, kMm3PerLitre}, {351, kMm3PerMl}}};
constexpr std::array<FamilyTotal, 2> kMasses{{{81, kMgPerKg}, {352, kMgPerGram}}};
constexpr std::array<FamilyTotal, 2> kCounts{{{82, 1.0}, {}}};
constexpr FamilyTotal kLifeVolume{325, kMm3PerLitre}, kLifeMass{266, kMgPerKg}, kLifeCount{267, 1.0};

constexpr std::array<FamilyTotal, 2> only(std::uint16_t ddi, double mg_per_unit) {
  return {{{ddi, mg_per_unit}, {}}};
}

// clang-format off
constexpr QuantityFamily kFamilies[] = {
    // quantity                  set  actual default minimum maximum  amount          related to
    {"volume per area",            1,     2,     3,     4,     5, Amount::volume, RatePer::area,     1.0,  kVolumes, kLifeVolume},
    {"volume per area",          588,   589,   592,   590,   591, Amount::volume, RatePer::area,     kMm3PerMl, kVolumes, kLifeVolume},
    {"mass per area",              6,     7,     8,     9,    10, Amount::mass,   RatePer::area,     1.0,  kMasses, kLifeMass},
    {"count per area",            11,    12,    13,    14,    15, Amount::count,  RatePer::area,     1.0,  kCounts, kLifeCount},
    {"spacing",                   16,    17,    18,    19,    20, Amount::count,  RatePer::spacing,  0.0,  kCounts, kLifeCount},
    {"volume per volume",         21,    22,    23,    24,    25, Amount::volume, RatePer::product,  0.0,  kVolumes, kLifeVolume},
    {"mass per mass",             26,    27,    28,    29,    30, Amount::mass,   RatePer::product,  0.0,  kMasses, kLifeMass},
    {"volume per mass",           31,    32,    33,    34,    35, Amount::volume, RatePer::product,  0.0,  kVolumes, kLifeVolume},
    {"volume per time",           36,    37,    38,    39,    40, Amount::volume, RatePer::time,     1.0,  kVolumes, kLifeVolume},
    {"mass per time",             41,    42,    43,    44,    45, Amount::mass,   RatePer::time,     1.0,  kMasses, kLifeMass},
    {"count per time",            46,    47,    48,    49,    50, Amount::count,  RatePer::time,     1.0,  kCounts, kLifeCount},
    {"percentage rate",          140,   308, kNone,   309,   310, Amount::none,   RatePer::share,    0.0},
    {"volume per distance",      633,   634,   635,   636,   637, Amount::volume, RatePer::distance, kMm3PerMl, kVolumes, kLifeVolume},
    {"nitrogen rate",            432,   433, kNone,   434,   435, Amount::mass,   RatePer::area,     1.0,  only(353, kMgPerGram)},
    {"ammonium rate",            436,   437, kNone,   438,   439, Amount::mass,   RatePer::area,     1.0,  only(354, kMgPerGram)},
    {"phosphor rate",            440,   441, kNone,   442,   443, Amount::mass,   RatePer::area,     1.0,  only(355, kMgPerGram)},
    {"potassium rate",           444,   445, kNone,   446,   447, Amount::mass,   RatePer::area,     1.0,  only(356, kMgPerGram)},
    {"dry matter rate",          448,   449, kNone,   450,   451, Amount::mass,   RatePer::share,    0.0,  only(357, kMgPerKg)},
    {"tillage depth",             51,    52,    53,    54,    55},
    {"seeding depth",             56,    57,    58,    59,    60},
    {"working height",            61,    62,    63,    64,    65},
    {"working width",             66,    67,    68,    69,    70},
    {"working length",           225,   226, kNone,   227,   228},
    {"content by volume",         71,    72, kNone, kNone,    73},
    {"content by mass",           74,    75, kNone, kNone,    76},
    {"content by count",          77,    78, kNone, kNone,    79},
    {"product pressure",         193,   194, kNone,   195,   196},
    {"pump output pressure",     197,   198, kNone,   199,   200},
    {"downforce as pressure",    365,   366, kNone, kNone, kNone},
    {"downforce as force",       426,   427, kNone, kNone, kNone},
    {"revolutions",              389,   390,   391,   392,   393},
    {"speed",                    396,   397, kNone,   398,   399},
    {"engine speed",             483,   484, kNone,   485,   486},
    {"PTO speed",                542,   541,   543,   544,   545},
    {"PTO torque",               552,   551,   553,   554,   555},
    {"temperature",              578,   579,   582,   580,   581},
    {"tyre pressure",            638,   639,   640,   641,   642},
    {"electrical current",       557,   558,   561,   559,   560},
    {"voltage",                  562,   564,   563,   565,   566},
    {"droplet size",           49152, 45056, 40960, 36864, 32768},
};
// clang-format on

}  // namespace

std::span<const QuantityFamily> quantity_families() {
  return kFamilies;
}

const QuantityFamily* family_of(std::uint16_t set_or_actual_ddi) {
  if (set_or_actual_ddi == kNoDdi) return nullptr;
  for (const QuantityFamily& family : kFamilies)
    if (family.set == set_or_actual_ddi || family.actual == set_or_actual_ddi) return &family;
  return nullptr;
}

}  // namespace tramlog
