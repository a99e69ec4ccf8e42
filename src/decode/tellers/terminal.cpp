// Virtual terminal, both directions (ISO 11783-6; fact sheet, process data, 7.1 to 7.5, 7.9): the function in
// words, and what the sheet knows of its bytes.
#include <fmt/format.h>

#include <iterator>

#include "decode/remark_tools.hpp"
#include "exam/words.hpp"

namespace tramlog::tellers {

extern const Teller terminal;

namespace {

constexpr Pgn kPgnFromTerminal = 0xE600, kPgnToTerminal = 0xE700;

struct Function {
  std::uint8_t code;
  const char* term;
};
constexpr Function kFunctions[] = {
    {0x00, "soft key activation"},
    {0x01, "button activation"},
    {0x02, "pointing event"},
    {0x03, "VT select input object"},
    {0x04, "VT ESC"},
    {0x05, "VT change numeric value"},
    {0x06, "VT change active mask"},
    {0x07, "VT change soft key mask"},
    {0x08, "VT change string value"},
    {0x09, "VT on user-layout hide/show"},
    {0x0A, "VT control audio signal termination"},
    {0x11, "object pool transfer"},
    {0x12, "end of object pool"},
    {0x20, "auxiliary assignment type 1"},
    {0x21, "auxiliary input type 1 status"},
    {0x22, "preferred assignment"},
    {0x23, "auxiliary input type 2 maintenance"},
    {0x24, "auxiliary assignment type 2"},
    {0x25, "auxiliary input status type 2 enable"},
    {0x26, "auxiliary input type 2 status"},
    {0x27, "auxiliary capabilities"},
    {0x90, "select active working set"},
    {0x92, "ESC"},
    {0xA0, "hide/show object"},
    {0xA1, "enable/disable object"},
    {0xA2, "select input object"},
    {0xA3, "control audio signal"},
    {0xA4, "set audio volume"},
    {0xA5, "change child location"},
    {0xA6, "change size"},
    {0xA7, "change background colour"},
    {0xA8, "change numeric value"},
    {0xA9, "change end point"},
    {0xAA, "change font attributes"},
    {0xAB, "change line attributes"},
    {0xAC, "change fill attributes"},
    {0xAD, "change active mask"},
    {0xAE, "change soft key mask"},
    {0xAF, "change attribute"},
    {0xB0, "change priority"},
    {0xB1, "change list item"},
    {0xB2, "delete object pool"},
    {0xB3, "change string value"},
    {0xB4, "change child position"},
    {0xB5, "change object label"},
    {0xB6, "change polygon point"},
    {0xB7, "change polygon scale"},
    {0xB8, "graphics context"},
    {0xB9, "get attribute value"},
    {0xBA, "select colour map / palette"},
    {0xBB, "identify VT"},
    {0xBC, "execute extended macro"},
    {0xBD, "lock/unlock mask"},
    {0xBE, "execute macro"},
    {0xC0, "get memory"},
    {0xC1, "get supported wide chars"},
    {0xC2, "get number of soft keys"},
    {0xC3, "get text font data"},
    {0xC4, "get window mask data"},
    {0xC5, "get supported objects"},
    {0xC6, "screen capture"},
    {0xC7, "get hardware"},
    {0xD0, "store version"},
    {0xD1, "load version"},
    {0xD2, "delete version"},
    {0xD3, "extended get versions"},
    {0xD4, "extended store version"},
    {0xD5, "extended load version"},
    {0xD6, "extended delete version"},
    {0xDF, "get versions"},
    {0xE0, "get versions response"},
    {0xFD, "unsupported VT function"},
    {0xFE, "VT status"},
    {0xFF, "working set maintenance"},
};

std::string function_words(std::uint8_t code) {
  for (const Function& function : kFunctions)
    if (function.code == code) return function.term;
  return fmt::format("reserved or proprietary function 0x{:02X}", code);
}

constexpr BitWord kBusy[] = {{0x01, "updating the visible mask"},
                             {0x02, "saving"},
                             {0x04, "executing a command"},
                             {0x08, "executing a macro"},
                             {0x10, "parsing an object pool"},
                             {0x40, "auxiliary learn mode"},
                             {0x80, "out of memory"}};
constexpr BitWord kPoolErrors[] = {
    {0x01, "errors in the object pool"}, {0x02, "VT out of memory"}, {0x10, "other error"}};
constexpr BitWord kObjectErrors[] = {{0x01, "method or attribute not supported"},
                                     {0x02, "unknown object reference"},
                                     {0x04, "other object error"},
                                     {0x08, "pool deleted"}};
constexpr BitWord kMaskErrors[] = {{0x04, "missing objects"},
                                   {0x08, "errors in the mask or its children"},
                                   {0x10, "other error"},
                                   {0x20, "the pool is being deleted"}};
constexpr BitWord kVersionErrors[] = {{0x01, "file system error or corruption"},
                                      {0x02, "label not known or incorrect"},
                                      {0x04, "insufficient memory"},
                                      {0x08, "other error"}};
constexpr BitWord kInputStates[] = {{0x01, "learn mode"},
                                    {0x02, "activated in learn mode"},
                                    {0x04, "locked"},
                                    {0x08, "touched while locked"}};

std::string status_words(const std::uint8_t* b) {
  std::string text = b[1] >= 0xFE ? std::string("no working set active")
                                  : "active working set master " + address_words(b[1]);
  text += fmt::format(", mask {}, soft key mask {}", object_id_words(load_le16(b + 2)),
                      object_id_words(load_le16(b + 4)));
  const std::string busy = bit_words(b[6], kBusy);
  text += busy.empty() ? ", idle" : ", busy: " + busy;
  if (b[6] != 0 && b[7] != 0xFF) text += fmt::format(" ({})", function_words(b[7]));
  return text;
}

std::string key_words(const std::uint8_t* b) {
  constexpr const char* kStates[] = {"released", "pressed", "held", "aborted"};
  return fmt::format("key number {} {}, object {} in mask {}", b[6],
                     b[1] < std::size(kStates) ? kStates[b[1]] : "in an unknown state",
                     object_id_words(load_le16(b + 2)), object_id_words(load_le16(b + 4)));
}

std::string pool_end_words(const std::uint8_t* b) {
  std::string text = bit_words(b[1], kPoolErrors);
  if (text.empty()) return "accepted";
  text += fmt::format("; faulty object {}, parent {}", object_id_words(load_le16(b + 4)),
                      object_id_words(load_le16(b + 2)));
  if (const std::string object = bit_words(b[6], kObjectErrors); !object.empty()) text += "; " + object;
  return text;
}

std::string mask_change_words(const std::uint8_t* b) {
  std::string text = "mask " + object_id_words(load_le16(b + 1));
  if (const std::string errors = bit_words(b[3], kMaskErrors); !errors.empty())
    text += fmt::format("; {}; faulty object {}, parent {}", errors, object_id_words(load_le16(b + 4)),
                        object_id_words(load_le16(b + 6)));
  return text;
}

std::string input_words(const std::uint8_t* b) {
  std::string text = fmt::format("input object {}, value 1 {}, value 2 {}", object_id_words(load_le16(b + 1)),
                                 load_le16(b + 3), load_le16(b + 5));
  if (const std::string states = bit_words(b[7], kInputStates); !states.empty()) text += ", " + states;
  return text;
}

/// What the VT (or, for auxiliary inputs, the input unit) says; eight bytes are there.
std::string from_terminal(const std::uint8_t* b) {
  switch (b[0]) {
    case 0x00:
    case 0x01:
      return key_words(b);
    case 0x06:
      return mask_change_words(b);
    case 0x12:
      return pool_end_words(b);
    case 0x26:
      return input_words(b);
    case 0xC0:
      return fmt::format("VT version {}, {}", b[1],
                         b[2] == 0 ? "there may be enough memory" : "not enough memory");
    case 0xC2:
      return fmt::format("{} navigation, {} virtual and {} physical keys of {} x {} pixels", b[1], b[6], b[7],
                         b[4], b[5]);
    case 0xC7: {
      constexpr const char* kGraphics[] = {"monochrome", "16 colours", "256 colours"};
      const std::string boot = b[1] == 0xFF ? "" : fmt::format(", starts in {} s", b[1]);
      return fmt::format("{} x {} pixels, {}{}", load_le16(b + 4), load_le16(b + 6),
                         b[2] < std::size(kGraphics) ? kGraphics[b[2]] : "unknown graphics", boot);
    }
    case 0xD0:
    case 0xD1:
    case 0xD2: {
      const std::string errors = bit_words(b[5], kVersionErrors);
      return errors.empty() ? "done" : errors;
    }
    case 0xE0:
      return counted(b[1], "version", "versions");
    case 0xFE:
      return status_words(b);
    default:
      return {};
  }
}

std::string to_terminal(const std::uint8_t* b) {
  switch (b[0]) {
    case 0x23:
      return fmt::format("model {}, {}", load_le16(b + 1),
                         b[3] == 0   ? "initialising"
                         : b[3] == 1 ? "ready"
                                     : "unknown state");
    case 0x26:
      return input_words(b);
    case 0xC0:
      return counted(load_le32(b + 2), "byte", "bytes") + " needed";
    case 0xD0:
    case 0xD1:
    case 0xD2:
      return "label " + quoted_text({b + 1, 7});
    case 0xFF: {
      std::string text =
          b[2] == 0xFF ? "VT version 2 or before" : fmt::format("made for VT version {}", b[2]);
      if (b[1] != 0xFF && (b[1] & 1)) text += ", initiating: it has just started";
      return text;
    }
    default:
      return {};
  }
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  const Bytes data = message.data;
  if (data.empty()) return remark_too_short(remarks, message, 1);
  std::string text = function_words(data[0]);
  if (data.size() >= 8) {
    const std::string detail =
        message.pgn == kPgnFromTerminal ? from_terminal(data.data()) : to_terminal(data.data());
    if (!detail.empty()) text += ": " + detail;
  }
  if (data[0] == 0x11) text += fmt::format(": {} of objects", counted(data.size() - 1, "byte", "bytes"));
  remarks.push_back({"function", std::move(text)});
}

}  // namespace

const Teller terminal{{kPgnFromTerminal, kPgnToTerminal}, tell, true};

}  // namespace tramlog::tellers
