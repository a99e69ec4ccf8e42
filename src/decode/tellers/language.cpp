// Language command (fact sheet, network and diagnostics, 6.2; process data, 7.6): language, formats, units.
#include <fmt/format.h>

#include <iterator>

#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller language;

namespace {

constexpr const char* kDates[] = {"ddmmyyyy", "ddyyyymm", "mmyyyydd", "mmddyyyy", "yyyymmdd", "yyyyddmm"};
// Distance, area, temperature, pressure, force; and those with a US value of their own.
constexpr const char* kUnits[] = {"metric", "imperial or US", "reserved", nullptr};
constexpr const char* kThree[] = {"metric", "imperial", "US", nullptr};

void add(std::string& text, const char* quantity, const char* system) {
  if (!system) return;  // no action
  if (!text.empty()) text += ", ";
  text += fmt::format("{} {}", quantity, system);
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  const Bytes b = message.data;
  if (b.size() < 6) return remark_too_short(remarks, message, 6);
  std::string tongue = quoted_text(b.first(2));
  if (b.size() >= 8 && !(b[6] == 0xFF && b[7] == 0xFF)) tongue += ", country " + quoted_text(b.subspan(6, 2));
  remarks.push_back({"language", std::move(tongue)});

  constexpr const char* kSymbols[] = {"decimal comma", "decimal point", "decimal symbol reserved", nullptr};
  constexpr const char* kClocks[] = {"24 hours", "12 hours", "time format reserved", nullptr};
  std::string formats;
  const auto append = [&](const char* words) {
    if (words) formats += (formats.empty() ? "" : ", ") + std::string(words);
  };
  append(kSymbols[b[2] >> 6]);
  append(kClocks[b[2] >> 4 & 3]);
  if (b[3] < std::size(kDates)) append(kDates[b[3]]);
  if (!formats.empty()) remarks.push_back({"formats", std::move(formats)});

  std::string units;
  add(units, "distance", kUnits[b[4] >> 6]);
  add(units, "area", kUnits[b[4] >> 4 & 3]);
  add(units, "volume", kThree[b[4] >> 2 & 3]);
  add(units, "mass", kThree[b[4] & 3]);
  add(units, "temperature", kUnits[b[5] >> 6]);
  add(units, "pressure", kUnits[b[5] >> 4 & 3]);
  add(units, "force", kUnits[b[5] >> 2 & 3]);
  add(units, "all other units", kThree[b[5] & 3]);
  remarks.push_back({"units", units.empty() ? "no action" : std::move(units)});
}

}  // namespace

const Teller language{{0xFE0F}, tell, true};

}  // namespace tramlog::tellers
