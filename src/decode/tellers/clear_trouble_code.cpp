// DM22 (fact sheet, network and diagnostics, 7.7; one source only): clearing of a single trouble code.
#include <fmt/format.h>

#include <iterator>

#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller clear_trouble_code;

namespace {

constexpr const char* kReasons[] = {"no reason given", "access denied", "the code is not known",
                                    "the code is no longer previously active",
                                    "the code is no longer active"};

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const Bytes data = message.data;
  if (data.size() < 8) return remark_too_short(remarks, message, 8);
  Dtc dtc;
  dtc.spn = std::uint32_t{data[5]} | std::uint32_t{data[6]} << 8 | std::uint32_t{data[7]} >> 5 << 16;
  dtc.fmi = data[7] & 0x1F;
  const std::uint8_t control = data[0];
  const char* which = control & 0x10 ? "active" : "previously active";
  std::string name;
  switch (control & 0xEF) {
    case 0x01:
      name = fmt::format("asks to clear the {} code", which);
      break;
    case 0x02:
      name = fmt::format("cleared the {} code", which);
      break;
    case 0x03:
      name = fmt::format("did not clear the {} code", which);
      break;
    default:
      remarks.push_back({"control byte", fmt::format("{}, not known", control)});
      return;
  }
  std::string text = dtc_words(schema, dtc);
  if ((control & 0xEF) == 0x03)
    text += data[1] < std::size(kReasons) ? fmt::format("; {}", kReasons[data[1]])
                                          : fmt::format("; reason {}", data[1]);
  remarks.push_back({std::move(name), std::move(text)});
}

}  // namespace

const Teller clear_trouble_code{{kPgnDm22}, tell, true};

}  // namespace tramlog::tellers
