// Control function functionalities (fact sheet, network and diagnostics, 7.9).
#include <fmt/format.h>

#include <algorithm>

#include "decode/remark_tools.hpp"
#include "exam/words.hpp"
#include "isobus/identification.hpp"

namespace tramlog::tellers {

extern const Teller functionalities;

namespace {

constexpr BitWord kMinimum[] = {{0x01, "weak (type 1) termination"},
                                {0x02, "end-point (type 2) termination"},
                                {0x04, "sends heartbeats"},
                                {0x08, "listens to heartbeats"}};
constexpr BitWord kTractor[] = {{0x01, "class 1"},    {0x02, "class 2"},     {0x04, "lighting"},
                                {0x08, "navigation"}, {0x10, "front hitch"}, {0x20, "guidance"}};

std::string option_words(const Functionality& entry) {
  const std::vector<std::uint8_t>& options = entry.options;
  if (options.empty()) return {};
  switch (entry.number) {
    case 0:
      return options.size() == 1 ? bit_words(options[0], kMinimum) : "options " + short_hex(options);
    case 10:
      if (options.size() == 1) return counted(options[0], "channel", "channels");
      break;
    case 11:
    case 12:
      if (options.size() == 2)
        return fmt::format("{}, {}", counted(options[0], "boom", "booms"),
                           counted(options[1], "section", "sections"));
      break;
    case 13:
    case 14:
      if (options.size() == 1) return bit_words(options[0], kTractor);
      break;
    default:
      break;
  }
  return "options " + short_hex(options);
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  if (message.data.size() < 2) return remark_too_short(remarks, message, 2);
  const std::vector<Functionality> entries = parse_functionalities(message.data);
  const std::size_t told = std::min(entries.size(), kMaxRemarkItems);
  for (std::size_t i = 0; i < told; ++i) {
    const Functionality& entry = entries[i];
    std::string text = fmt::format("{}, generation {}", functionality_term(entry.number), entry.generation);
    if (const std::string options = option_words(entry); !options.empty()) text += ", " + options;
    remarks.push_back({"functionality", std::move(text)});
  }
  if (told < entries.size())
    remarks.push_back({"functionality", fmt::format("and {} more", entries.size() - told)});
  if (entries.size() != message.data[1])
    remarks.push_back({"malformed", fmt::format("{} entries are announced, {} fit into the message",
                                                message.data[1], entries.size())});
}

}  // namespace

const Teller functionalities{{kPgnFunctionalities}, tell};

}  // namespace tramlog::tellers
