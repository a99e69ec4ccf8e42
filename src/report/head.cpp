#include "report/head.hpp"

#include <fmt/format.h>

#include <cmath>

#include "base/text.hpp"
#include "exam/words.hpp"

namespace tramlog {

void head_page(Page& page, const Report& report, const char* what, const FormatOptions& options) {
  const Conclusions& all = report.found;
  std::string head = what;
  if (all.rollcall && !all.rollcall->machine.empty()) head += ": " + all.rollcall->machine;
  page.item("", head);
  std::string buses;
  for (const BusSummary& bus : all.buses) buses += (buses.empty() ? "" : ", ") + bus.name;
  page.item("", fmt::format("{} to {} UTC ({}), {} on {}", format_date_time(all.start),
                            format_date_time(all.end), format_span(all.end - all.start),
                            counted(all.frames, "frame", "frames"), buses.empty() ? "no bus" : buses));
  for (const std::string& part : slice_words(all)) page.item("Slice   ", part);
  for (const std::string& told : {hours_words(all.machine), place_words(all.machine, options)})
    if (!told.empty()) page.item("", told);
  for (const std::string& capture : capture_words(report)) page.item("Capture ", capture);
}

std::string hours_words(const MachineRecord& machine) {
  if (!machine.hours_first || !machine.hours_last) return {};
  if (*machine.hours_first == *machine.hours_last)
    return fmt::format("Engine hours {:.2f}", *machine.hours_last);
  return fmt::format("Engine hours {:.2f} to {:.2f}", *machine.hours_first, *machine.hours_last);
}

std::string place_words(const MachineRecord& machine, const FormatOptions& options) {
  if (!options.place || !machine.place) return {};
  const auto [latitude, longitude] = *machine.place;
  return fmt::format("Place {:.5f} {}, {:.5f} {} (where the machine was first)", std::abs(latitude),
                     latitude < 0 ? "S" : "N", std::abs(longitude), longitude < 0 ? "W" : "E");
}

std::vector<std::string> slice_words(const Conclusions& all) {
  constexpr std::size_t kMostParts = 3;
  std::vector<std::string> parts;
  for (const RecordedNote& noted : all.recorder.notes)
    if (noted.note.kind == RecorderNote::Kind::cut) parts.push_back(printable_utf8(noted.note.text));
  if (parts.size() > kMostParts) {
    const std::size_t more = parts.size() - kMostParts;
    parts.resize(kMostParts);
    parts.push_back(fmt::format("and {} more parts of a longer recording", more));
  }
  return parts;
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
