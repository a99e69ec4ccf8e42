// Terms and words of process data messages (fact sheet, process data, 1.3, 1.5, 2 and 3.2), and their texts.
#include <fmt/format.h>

#include <iterator>
#include <string_view>

#include "base/bit_words.hpp"
#include "base/text.hpp"
#include "base/utf8.hpp"
#include "isobus/process_data.hpp"

namespace tramlog {
namespace {

constexpr BitWord kRefusals[] = {{0x01, "command not supported"},
                                 {0x02, "invalid element number"},
                                 {0x04, "DDI not supported by this element"},
                                 {0x08, "trigger method not supported"},
                                 {0x10, "process data not settable"},
                                 {0x20, "interval or threshold invalid"},
                                 {0x40, "value does not conform to the DDI"},
                                 {0x80, "value outside this device's range"}};
constexpr BitWord kOptions[] = {{0x01, "documentation and totals (TC-BAS)"},
                                {0x02, "TC-GEO without position-based control"},
                                {0x04, "TC-GEO with position-based control"},
                                {0x08, "peer control assignment"},
                                {0x10, "section control (TC-SC)"}};
constexpr BitWord kStates[] = {{0x01, "task running"},
                               {0x02, "busy saving"},
                               {0x04, "busy reading"},
                               {0x08, "busy with a device descriptor command"},
                               {0x80, "out of memory"}};
constexpr BitWord kActivation[] = {{0x01, "errors in the object pool"},
                                   {0x02, "out of memory"},
                                   {0x04, "other error"},
                                   {0x08, "another pool with this structure label exists"}};
constexpr BitWord kObject[] = {{0x01, "method or attribute not supported"},
                               {0x02, "unknown object reference"},
                               {0x04, "other object error"},
                               {0x08, "pool deleted from memory"}};

/// Code points of 80..9F in windows-1252; 0 where it has none.
constexpr char32_t kWindows1252[32] = {0x20AC, 0,      0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021,
                                       0x02C6, 0x2030, 0x0160, 0x2039, 0x0152, 0,      0x017D, 0,
                                       0,      0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014,
                                       0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0,      0x017E, 0x0178};

std::string from_windows_1252(std::string_view text) {
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    const char32_t mapped = byte >= 0x80 && byte < 0xA0 ? kWindows1252[byte - 0x80] : 0;
    append_utf8(out, mapped != 0 ? mapped : byte);
  }
  return out;
}

}  // namespace

const char* command_term(ProcessCommand command) {
  constexpr const char* kCommands[] = {"technical data",
                                       "device descriptor",
                                       "request value",
                                       "value",
                                       "time interval",
                                       "distance interval",
                                       "minimum",
                                       "maximum",
                                       "change",
                                       "peer control",
                                       "set value and acknowledge",
                                       "command 11",
                                       "command 12",
                                       "acknowledgement",
                                       "status",
                                       "client task"};
  return kCommands[static_cast<std::uint8_t>(command) & 0x0F];
}

std::string refusal_words(std::uint8_t errors) {
  return bit_words(errors, kRefusals);
}

std::string option_words(std::uint8_t options) {
  return bit_words(options, kOptions);
}

std::string state_words(std::uint8_t states) {
  return bit_words(states, kStates);
}

std::string version_words(std::uint8_t version) {
  constexpr const char* kEditions[] = {"draft of the first edition", "final draft of the first edition",
                                       "first edition", "draft of the second edition", "second edition"};
  return version < std::size(kEditions) ? fmt::format("version {} ({})", version, kEditions[version])
                                        : fmt::format("version {}", version);
}

std::string activation_words(const ActivationResponse& response) {
  std::string text = bit_words(response.errors, kActivation);
  if (text.empty()) return text;
  std::string place;
  if (response.object != 0xFFFF) place = fmt::format("object {}", response.object);
  if (response.parent != 0xFFFF)
    place += place.empty() ? fmt::format("within object {}", response.parent)
                           : fmt::format(" of object {}", response.parent);
  const std::string object = bit_words(response.object_errors, kObject);
  if (!place.empty()) text += "; " + place;
  if (!object.empty()) text += (place.empty() ? "; " : ": ") + object;
  return text;
}

std::string label_words(const StructureLabel& label) {
  if (label.none()) return {};
  return "\"" + printable_latin1(label.bytes) + "\"";
}

std::string descriptor_text(Bytes bytes) {
  while (!bytes.empty() && bytes.back() == 0x00) bytes = bytes.first(bytes.size() - 1);
  const std::string_view text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
  return is_utf8(text) ? printable_utf8(text) : printable_utf8(from_windows_1252(text));
}

}  // namespace tramlog
