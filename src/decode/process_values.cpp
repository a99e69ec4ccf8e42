#include <fmt/format.h>

#include <iterator>

#include "base/text.hpp"
#include "decode/process_words.hpp"
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
constexpr StateWords kStates[] = {
    {141, kWork, std::size(kWork)},
    {158, kControl, std::size(kControl)},
    {160, kControl, std::size(kControl)},
    {230, kWeight, std::size(kWeight)},
    {233, kWeight, std::size(kWeight)},
    {287, kSetMode, std::size(kSetMode)},
    {288, kActualMode, std::size(kActualMode)},
    {289, kWorkSet, std::size(kWorkSet)},
    {400, kSpeedSource, std::size(kSpeedSource)},
    {515, kControl, std::size(kControl)},
    {595, kMachineMode, std::size(kMachineMode)},
};

bool has_unit(const DictionaryEntry& entry) {
  return !entry.unit.empty() && entry.unit != "n/a";
}

}  // namespace

std::string variable_words(const Schema& schema, std::uint16_t element, std::uint16_t ddi) {
  const DictionaryEntry* entry = schema.dictionary().find(ddi);
  std::string text = entry ? fmt::format("{} (DDI {})", printable_utf8(entry->name), ddi)
                           : fmt::format("DDI {}, not in the dictionary,", ddi);
  return text + (element == 0xFFF ? " of no element" : fmt::format(" of element {}", element));
}

std::string plain_value_words(const Schema& schema, std::uint16_t ddi, std::uint32_t raw) {
  const DictionaryEntry* entry = schema.dictionary().find(ddi);
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
  if (const auto what = condensed_of(ddi)) return condensed_words(*what, raw);
  for (const StateWords& state : kStates)
    if (state.ddi == ddi && raw < state.count) return state.words[raw];
  return plain_value_words(schema, ddi, raw);
}

}  // namespace tramlog
