#include "decode/process_words.hpp"

#include <fmt/format.h>

#include <iterator>

#include "exam/words.hpp"

namespace tramlog {
namespace {

constexpr BitWord kOptions[] = {{0x01, "documentation and totals (TC-BAS)"},
                                {0x02, "TC-GEO without position-based control"},
                                {0x04, "TC-GEO with position-based control"},
                                {0x08, "peer control assignment"},
                                {0x10, "section control (TC-SC)"}};
constexpr BitWord kRefusals[] = {{0x01, "command not supported"},
                                 {0x02, "invalid element number"},
                                 {0x04, "DDI not supported by this element"},
                                 {0x08, "trigger method not supported"},
                                 {0x10, "process data not settable"},
                                 {0x20, "interval or threshold invalid"},
                                 {0x40, "value does not conform to the DDI"},
                                 {0x80, "value outside this device's range"}};
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

constexpr const char* kCommands[] = {
    "technical data",      "device descriptor", "request value", "value",           "time interval",
    "distance interval",   "minimum",           "maximum",       "change",          "peer control",
    "set and acknowledge", "command 11",        "command 12",    "acknowledgement", "status",
    "client task"};

std::string version_words(std::uint8_t version) {
  constexpr const char* kEditions[] = {"draft of the first edition", "final draft of the first edition",
                                       "first edition", "draft of the second edition", "second edition"};
  return version < std::size(kEditions) ? fmt::format("version {} ({})", version, kEditions[version])
                                        : fmt::format("version {}", version);
}

std::string label_words(Bytes label) {
  for (const std::uint8_t byte : label)
    if (byte != 0xFF) return quoted_text(label);
  return {};
}

std::string designator_words(Bytes data) {
  // Two readings are in use: with and without a count in B4 (fact sheet, process data, 3.1).
  const std::size_t rest = data.size() - 3;
  const bool counted_text = rest > 0 && data[3] == rest - 1;
  return quoted_text(data.subspan(counted_text ? 4 : 3));
}

}  // namespace

void tell_technical_data(const Message& message, std::vector<Remark>& remarks) {
  const std::uint8_t* b = message.data.data();
  switch (b[0]) {
    case 0x00:
      remarks.push_back({"asks for", "the version"});
      return;
    case 0x10: {
      std::string text = version_words(b[1]);
      if (b[2] != 0xFF) text += fmt::format(", starts in {} s", b[2]);
      remarks.push_back({"version", std::move(text)});
      const std::string options = bit_words(b[3], kOptions);
      remarks.push_back({"can", options.empty() ? "no options told" : options});
      remarks.push_back(
          {"counts",
           fmt::format("{}, {}, {}", counted(b[5], "boom", "booms"), counted(b[6], "section", "sections"),
                       counted(b[7], "position-based channel", "position-based channels"))});
      return;
    }
    case 0x20:
      remarks.push_back({"asks to", "identify the task controller"});
      return;
    default:
      remarks.push_back({"technical data", fmt::format("sub-command {}, not known", b[0] >> 4)});
  }
}

void tell_device_descriptor(const Message& message, std::vector<Remark>& remarks) {
  const Bytes d = message.data;
  const auto add = [&](const char* name, std::string text) { remarks.push_back({name, std::move(text)}); };
  // An object pool may be shorter than a frame only by mistake; all else has eight bytes.
  if (d[0] == 0x61)
    return add("object pool transfer", fmt::format("{} of objects", counted(d.size() - 1, "byte", "bytes")));
  if (d.size() < 8) return remark_too_short(remarks, message, 8);
  const bool extended_label = (d[0] == 0x01 || d[0] == 0x11) && d.size() > 8;
  const std::string label =
      label_words(d.subspan(1, extended_label ? std::min<std::size_t>(d.size() - 1, 40) : 7));
  switch (d[0]) {
    case 0x01:
      return add("asks for the structure label", label.empty() ? "the latest" : label);
    case 0x11:
      return add("structure label", label.empty() ? "not known" : label);
    // Six bytes of the localization label are those of the language command: letters and bits.
    case 0x21:
      return add("asks for the localization label",
                 label.empty() ? "the latest" : short_hex(d.subspan(1, 7)));
    case 0x31:
      return add("localization label", label.empty() ? "not known" : short_hex(d.subspan(1, 7)));
    case 0x41:
      return add("asks to send an object pool", counted(load_le32(d.data() + 1), "byte", "bytes"));
    case 0x51:
      return add("object pool may come", d[1] == 0 ? "there may be enough memory" : "not enough memory");
    case 0x71: {
      constexpr const char* kResults[] = {"ok", "out of memory during the transfer", "other error"};
      return add("object pool received",
                 fmt::format("{}, {}", d[1] < std::size(kResults) ? kResults[d[1]] : "unknown result",
                             counted(load_le32(d.data() + 2), "byte", "bytes")));
    }
    case 0x81:
      return add("asks to", d[1] == 0x00 ? "deactivate the object pool" : "activate the object pool");
    case 0x91: {
      std::string text = bit_words(d[1], kActivation);
      if (text.empty()) return add("object pool activated or deactivated", "ok");
      text += fmt::format("; faulty object {}, parent {}", object_id_words(load_le16(d.data() + 4)),
                          object_id_words(load_le16(d.data() + 2)));
      if (const std::string object = bit_words(d[6], kObject); !object.empty()) text += "; " + object;
      return add("object pool refused", std::move(text));
    }
    case 0xA1:
      return add("asks to", "delete the object pool");
    case 0xB1: {
      std::string text = d[1] == 0 ? "ok" : "error";
      if (d[1] != 0 && d[2] == 0) text += ", task data refer to it";
      if (d[1] != 0 && d[2] == 1) text += ", references cannot be checked";
      return add("object pool deleted", std::move(text));
    }
    case 0xC1:
      return add("asks to change the designator",
                 fmt::format("of object {} to {}", load_le16(d.data() + 1), designator_words(d)));
    case 0xD1:
      return add("designator changed",
                 fmt::format("object {}: {}", load_le16(d.data() + 1), d[3] == 0 ? "ok" : "error"));
    default:
      return add("device descriptor", fmt::format("sub-command {}, not known", d[0] >> 4));
  }
}

void tell_acknowledgement(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const std::uint8_t* b = message.data.data();
  const auto element = static_cast<std::uint16_t>(b[0] >> 4 | b[1] << 4);
  const std::uint16_t ddi = load_le16(b + 2);
  std::string text;
  if (b[4] == 0)
    text = "accepted";
  else if (b[4] == 0xFF)
    text = "all error bits are set: probably a defect of the sender, not eight errors";
  else
    text = bit_words(b[4], kRefusals);
  if (ddi != 0xFFFF)
    text += "; " + variable_words(schema, element, ddi);
  else if (element != 0xFFF)
    text += fmt::format("; element {}", element);
  if (b[5] != 0xFF) text += fmt::format("; answers command {} ({})", b[5] & 0x0F, kCommands[b[5] & 0x0F]);
  remarks.push_back({b[4] == 0 || b[4] == 0xFF ? "acknowledges" : "refuses", std::move(text)});
}

void tell_status(const Message& message, std::vector<Remark>& remarks) {
  const std::uint8_t* b = message.data.data();
  std::string text = bit_words(b[4], kStates);
  if (!(b[4] & 0x01)) text = text.empty() ? "no task running" : "no task running, " + text;
  // B6 and B7 mean something only while it is busy (fact sheet, process data, 2.2).
  if (b[4] & 0x0E)
    text += fmt::format("; for {}, command 0x{:02X} ({})", address_words(b[5]), b[6], kCommands[b[6] & 0x0F]);
  remarks.push_back({"task controller status", std::move(text)});
}

void tell_client_task(const Message& message, std::vector<Remark>& remarks) {
  remarks.push_back({"client task", message.data[4] & 0x01 ? "task running" : "no task running"});
}

void tell_peer_control(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const Bytes d = message.data;
  constexpr const char* kModes[] = {"assigns a receiver",      "unassigns a receiver",
                                    "receiver acknowledges",   "assigns a transmitter",
                                    "unassigns a transmitter", "transmitter acknowledges"};
  const auto element = static_cast<std::uint16_t>(d[0] >> 4 | d[1] << 4);
  const unsigned mode = d[4] & 0x0F;
  std::string text = variable_words(schema, element, load_le16(d.data() + 2));
  if (d.size() >= 14) {
    const unsigned partner = unsigned{d[4]} >> 4 | unsigned{d[5]} << 4;
    text += "; partner " + name_words(Name::from_claim(d.data() + 6));
    if (partner != 0xFFF) text += fmt::format(", its element {}", partner);
  }
  remarks.push_back(
      {mode < std::size(kModes) ? std::string(kModes[mode]) : fmt::format("peer control mode {}", mode),
       std::move(text)});
}

}  // namespace tramlog
