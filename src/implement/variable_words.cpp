#include "implement/variable_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "base/bit_words.hpp"
#include "base/text.hpp"
#include "isobus/process_data.hpp"
#include "schema/units.hpp"

namespace tramlog {
namespace {

/// The unit in which the trade thinks of a dictionary unit (fact sheet, process data, 4.7).
constexpr UnitConversion kTrade[] = {{"kg/ha", 0.01, 0},  {"L/ha", 0.01, 0},   {"L/ha", 10, 0},
                                     {"km/h", 0.0036, 0}, {"kg/min", 6e-5, 0}, {"L/min", 6e-5, 0}};
constexpr std::string_view kTradeOf[] = {"mg/m2", "mm3/m2", "ml/m2", "mm/s", "mg/s", "mm3/s"};

/// 16 x 2 bits, section 1 in the lowest; what the codes 0..3 mean (fact sheet, process data, 5.2).
struct Condensed {
  std::uint16_t first_section;
  const char* codes[4];
};

constexpr Condensed condensed(unsigned block, const char* zero, const char* one, const char* two,
                              const char* three) {
  return {static_cast<std::uint16_t>(16 * block + 1), {zero, one, two, three}};
}

std::optional<Condensed> condensed_of(std::uint16_t ddi) {
  const auto actual = [](unsigned block) {
    return condensed(block, "off", "on", "in error", "not installed");
  };
  const auto setpoint = [](unsigned block) {
    return condensed(block, "off", "on", "error indicator", "no change");
  };
  if (ddi >= 161 && ddi <= 176) return actual(ddi - 161u);
  if (ddi >= 290 && ddi <= 305) return setpoint(ddi - 290u);
  if (ddi >= 367 && ddi <= 382)
    return condensed(ddi - 367u, "following the command", "overridden", "reserved", "not installed");
  if (ddi == 518) return actual(0);
  if (ddi >= 603 && ddi <= 617) return actual(ddi - 602u);
  if (ddi == 517) return setpoint(0);
  if (ddi >= 618 && ddi <= 632) return setpoint(ddi - 617u);
  return std::nullopt;
}

/// "sections 1 to 8 on, 9 to 12 off".
std::string condensed_words(const Condensed& what, std::uint32_t raw) {
  const auto state = [&](unsigned i) { return raw >> (2 * i) & 3; };
  std::string text;
  for (unsigned i = 0; i < 16;) {
    unsigned last = i;
    while (last + 1 < 16 && state(last + 1) == state(i)) ++last;
    const unsigned from = what.first_section + i, to = what.first_section + last;
    text += text.empty() ? (from == to ? "section " : "sections ") : ", ";
    text += from == to ? fmt::format("{}", from) : fmt::format("{} to {}", from, to);
    text += fmt::format(" {}", what.codes[state(i)]);
    i = last + 1;
  }
  return text;
}

struct StateWords {
  std::uint16_t ddi;
  const char* const* words;  // of the raw values from 0
  std::size_t count;
};
constexpr const char* kWork[] = {"off", "on", "error", "not installed"};
constexpr const char* kWorkSet[] = {"off", "on", "error", "no change"};
constexpr const char* kControl[] = {"manual/off", "automatic/on", "error", "not installed"};
constexpr const char* kWeight[] = {"unstable", "stable", "error"};
constexpr const char* kSetMode[] = {"unknown",      "prescription rate", "default",     "GNSS loss",
                                    "out of field", "manual entry",      "peer control"};
constexpr const char* kActualMode[] = {"unknown",          "rate of the task controller",
                                       "manual entry",     "peer control",
                                       "maximum override", "minimum override"};
constexpr const char* kSpeedSource[] = {"unknown", "wheel",     "ground",           "navigation",
                                        "blended", "simulated", "machine selected", "machine measured"};
constexpr const char* kMachineMode[] = {"unknown",     "idle",    "field",    "street",
                                        "maintenance", "filling", "emptying", "cleaning"};
constexpr const char* kConnector[] = {"unknown",
                                      "drawbar",
                                      "three-point hitch, semi-mounted",
                                      "three-point hitch, mounted",
                                      "hitch hook",
                                      "clevis coupling",
                                      "piton coupling",
                                      "hitch of ISO 6489-5",
                                      "ball coupling",
                                      "chassis mounted, self-propelled",
                                      "pivot wagon"};
constexpr const char* kPractice[] = {"unknown",
                                     "fertilizing",
                                     "sowing or planting",
                                     "crop protection",
                                     "tillage",
                                     "baling",
                                     "mowing",
                                     "wrapping",
                                     "harvesting",
                                     "forage harvesting",
                                     "transport",
                                     "swathing",
                                     "slurry or manure",
                                     "self-loading wagon",
                                     "tedding",
                                     "measuring",
                                     "irrigation",
                                     "feeding or mixing",
                                     "mulching"};
constexpr const char* kTramlineLevel[] = {"no common level", "level 1", "level 2", "level 3"};
constexpr StateWords kStates[] = {
    {141, kWork, std::size(kWork)},         {157, kConnector, std::size(kConnector)},
    {158, kControl, std::size(kControl)},   {160, kControl, std::size(kControl)},
    {179, kPractice, std::size(kPractice)}, {230, kWeight, std::size(kWeight)},
    {233, kWeight, std::size(kWeight)},     {239, kWork, std::size(kWork)},
    {287, kSetMode, std::size(kSetMode)},   {288, kActualMode, std::size(kActualMode)},
    {289, kWorkSet, std::size(kWorkSet)},   {400, kSpeedSource, std::size(kSpeedSource)},
    {471, kPractice, std::size(kPractice)}, {506, kTramlineLevel, std::size(kTramlineLevel)},
    {515, kControl, std::size(kControl)},   {595, kMachineMode, std::size(kMachineMode)},
};

constexpr BitWord kTramlineLevels[] = {{0x01, "level 1"}, {0x02, "level 2"}, {0x04, "level 3"}};

/// What a raw value stands for where it is no amount (fact sheet, process data, 5.2); "" for an amount and
/// for a code without a meaning.
std::string state_text(std::uint16_t ddi, std::uint32_t raw) {
  if (const auto what = condensed_of(ddi)) return condensed_words(*what, raw);
  for (const StateWords& state : kStates)
    if (state.ddi == ddi && raw < state.count) return state.words[raw];
  switch (ddi) {
    case 157:
      return raw == 0xFFFFFFFF ? "not available" : "";
    case 240:  // two bits each in B5 and B6, all other bits 1
      return (raw | 0x0303) == 0xFFFFFFFF
                 ? fmt::format("unloading {}, loading {}", kWork[raw & 3], kWork[raw >> 8 & 3])
                 : "";
    case 400:
      return raw == 255 ? "none" : "";
    case 466:
      return raw >> 24 == 0xFE ? "sensor error" : "";
    case 505:
      if (raw == 0) return "no level";
      return raw <= 0xFF ? bit_words(static_cast<std::uint8_t>(raw), kTramlineLevels) : "";
    default:
      return {};
  }
}

struct DdiSpan {
  std::uint16_t first, last;
};
/// DDIs whose range in the dictionary reaches below zero (fact sheet, process data, 8.3).
constexpr DdiSpan kSigned[] = {{51, 55},   {75, 75},   {124, 136}, {143, 146}, {153, 153}, {157, 157},
                               {180, 180}, {193, 206}, {222, 222}, {229, 229}, {231, 232}, {234, 235},
                               {240, 240}, {264, 264}, {306, 307}, {365, 366}, {387, 393}, {396, 399},
                               {426, 427}, {466, 466}, {509, 511}, {513, 513}, {529, 530}, {562, 566},
                               {596, 596}, {655, 657}, {669, 669}, {689, 692}};
/// Ranges that are narrower than 31 bits, in raw values (the same).
struct NarrowRange {
  DdiSpan ddis;
  std::int64_t least, greatest;
};
constexpr NarrowRange kNarrow[] = {{{141, 141}, 0, 3},
                                   {{158, 158}, 0, 3},
                                   {{160, 160}, 0, 3},
                                   {{178, 178}, 0, 65533},
                                   {{209, 209}, 0, 100},
                                   {{215, 215}, 0, 4211081215},
                                   {{230, 230}, 0, 3},
                                   {{233, 233}, 0, 3},
                                   {{287, 287}, 0, 6},
                                   {{288, 288}, 0, 5},
                                   {{289, 289}, 0, 3},
                                   {{415, 420}, 0, 1'000'000},
                                   {{466, 466}, -180'000, 180'000},
                                   {{467, 467}, 0, 10'000},
                                   {{492, 492}, 0, 4211081215},
                                   {{515, 515}, 0, 3}};
/// The dictionary's own entries whose ranges are sure: later ones have no second source (8.4), the rest is
/// proprietary.
constexpr DdiSpan kKnownRanges[] = {{0, 694}, {32768, 49157}};

template <std::size_t count>
bool is_one_of(std::uint16_t ddi, const DdiSpan (&spans)[count]) {
  return std::any_of(std::begin(spans), std::end(spans),
                     [&](const DdiSpan& span) { return ddi >= span.first && ddi <= span.last; });
}

bool is_outside_range(const DictionaryEntry& entry, std::uint32_t raw) {
  const std::int64_t value =
      entry.is_unsigned ? std::int64_t{raw} : std::int64_t{static_cast<std::int32_t>(raw)};
  for (const NarrowRange& range : kNarrow)
    if (entry.ddi >= range.ddis.first && entry.ddi <= range.ddis.last)
      return value < range.least || value > range.greatest;
  return value < 0 && is_one_of(entry.ddi, kKnownRanges) && !is_one_of(entry.ddi, kSigned);
}

constexpr std::uint16_t kFirstProprietary = 57344, kLastProprietary = 65534;

/// The entry that says something about this DDI: the dictionary's row 57344 stands for the whole proprietary
/// range and tells nothing of one of its numbers; a user's own file may.
const DictionaryEntry* entry_of(const Schema& schema, std::uint16_t ddi) {
  const DictionaryEntry* entry = schema.dictionary().find(ddi);
  if (entry && ddi == kFirstProprietary && entry->name.find("57344-65534") != std::string::npos)
    return nullptr;
  return entry;
}

bool has_unit(const DictionaryEntry& entry) {
  return !entry.unit.empty() && entry.unit != "n/a";
}

}  // namespace

std::string variable_words(const Schema& schema, std::uint16_t element, std::uint16_t ddi) {
  std::string text;
  if (const DictionaryEntry* entry = entry_of(schema, ddi))
    text = fmt::format("{} (DDI {})", printable_utf8(entry->name), ddi);
  else if (ddi >= kFirstProprietary && ddi <= kLastProprietary)
    text = fmt::format("DDI {}, proprietary to the manufacturer,", ddi);
  else
    text = fmt::format("DDI {}, not in the dictionary,", ddi);
  return text + (element == kNoElement ? " of no element" : fmt::format(" of element {}", element));
}

std::string plain_value_words(const Schema& schema, std::uint16_t ddi, std::uint32_t raw) {
  const DictionaryEntry* entry = entry_of(schema, ddi);
  if (!entry) return fmt::format("raw {}", static_cast<std::int32_t>(raw));
  const Number number = Dictionary::value(*entry, raw);
  std::string text = is_finite(number) ? format_number(number) : "not a number";
  if (!has_unit(*entry)) return text;
  // The dictionary counts pieces (seeds, plants, bales) with "#".
  const std::string unit = printable_utf8(entry->unit);
  text += unit.starts_with('#') ? " pieces" + unit.substr(1) : " " + unit;
  for (std::size_t i = 0; i < std::size(kTrade); ++i)
    if (entry->unit == kTradeOf[i]) {
      const Number trade = convert(number, kTrade[i], entry->resolution.to_double());
      text += fmt::format(" ({} {})", format_number(trade), kTrade[i].unit);
    }
  return text;
}

std::string value_words(const Schema& schema, std::uint16_t ddi, std::uint32_t raw) {
  if (std::string state = state_text(ddi, raw); !state.empty()) return state;
  std::string text = plain_value_words(schema, ddi, raw);
  if (const DictionaryEntry* entry = entry_of(schema, ddi); entry && is_outside_range(*entry, raw))
    text += " (outside the dictionary's range)";
  return text;
}

}  // namespace tramlog
