#include "report/head.hpp"

#include <fmt/format.h>

#include <cmath>

#include "base/text.hpp"

namespace tramlog {

std::string hours_words(const MachineRecord& machine) {
  if (!machine.hours_first || !machine.hours_last) return {};
  if (*machine.hours_first == *machine.hours_last) return fmt::format("Engine hours {:.2f}", *machine.hours_last);
  return fmt::format("Engine hours {:.2f} to {:.2f}", *machine.hours_first, *machine.hours_last);
}

std::string place_words(const MachineRecord& machine, const FormatOptions& options) {
  if (!options.place || !machine.place) return {};
  const auto [latitude, longitude] = *machine.place;
  return fmt::format("Place {:.5f} {}, {:.5f} {} (where the machine was first)", std::abs(latitude),
                     latitude < 0 ? "S" : "N", std::abs(longitude), longitude < 0 ? "W" : "E");
}

std::vector<std::string> capture_words(const Report& report) {
  std::vector<std::string> all;
  for (std::size_t i = 0; i < report.files.size(); ++i) {
    const std::string name = i < report.names.size() ? printable_utf8(report.names[i]) : std::string();
    all.push_back(name.empty() ? report.files[i] : name + ", " + report.files[i]);
  }
  return all;
}

}  // namespace tramlog
