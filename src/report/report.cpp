#include "report/report.hpp"

#include <cstring>

#include "report/format.hpp"
#include "report/formats/table.inc"

namespace tramlog {

const char* state_code(ControllerState state) {
  constexpr const char* kCodes[] = {"present", "intermittent", "lost", "refused"};
  return kCodes[static_cast<int>(state)];
}

const char* state_code(EntryState state) {
  constexpr const char* kCodes[] = {"present",        "missing",          "intermittent", "lost",
                                    "wrong-software", "software-unknown", "ambiguous"};
  return kCodes[static_cast<int>(state)];
}

const char* kind_code(DropoutKind kind) {
  constexpr const char* kCodes[] = {"controller", "bus-silent", "power-down"};
  return kCodes[static_cast<int>(kind)];
}

const char* severity_code(Severity severity) {
  constexpr const char* kCodes[] = {"note", "warning", "fault"};
  return kCodes[static_cast<int>(severity)];
}

const char* confidence_code(Confidence confidence) {
  constexpr const char* kCodes[] = {"certain", "likely", "possible"};
  return kCodes[static_cast<int>(confidence)];
}

const Format* find_format(const std::string& name) {
  for (const Format* format : formats::kAll)
    if (name == format->name) return format;
  return nullptr;
}

std::string format_names() {
  std::string names;
  for (const Format* format : formats::kAll) names += (names.empty() ? "" : ", ") + std::string(format->name);
  return names;
}

}  // namespace tramlog
