// DM1 and DM2 (ISO 11783-12; fact sheet, network and diagnostics, 7.2 to 7.4): lamps and trouble codes.
#include <fmt/format.h>

#include "decode/remark_tools.hpp"
#include "exam/words.hpp"

namespace tramlog::tellers {

extern const Teller trouble_codes;

namespace {

constexpr const char* kFlash[] = {", slow flash", ", fast flash", "", ""};

/// `flash` is two bits of B2; 3 = does not flash.
void add_lamp(std::string& text, const char* lamp, Lamp state, unsigned flash) {
  if (state != Lamp::on && state != Lamp::error) return;
  if (!text.empty()) text += ", ";
  text += lamp;
  text += state == Lamp::on ? fmt::format(" on{}", kFlash[flash & 3]) : " in error";
}

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  const DtcList list = parse_dtcs(message.data);
  if (!message.data.empty()) {
    const unsigned flash = message.data.size() > 1 ? message.data[1] : 0xFFu;
    std::string lamps;
    add_lamp(lamps, "malfunction lamp", list.lamps.malfunction, flash >> 6);
    add_lamp(lamps, "red stop lamp", list.lamps.red_stop, flash >> 4);
    add_lamp(lamps, "amber warning lamp", list.lamps.amber_warning, flash >> 2);
    add_lamp(lamps, "protect lamp", list.lamps.protect, flash);
    if (!lamps.empty()) remarks.push_back({"lamps", std::move(lamps)});
  }
  const char* title = message.pgn == kPgnDm1 ? "active" : "previously active";
  if (list.dtcs.empty() && !list.malformed) remarks.push_back({title, "no trouble code"});
  const std::size_t told = std::min(list.dtcs.size(), kMaxRemarkItems);
  for (std::size_t i = 0; i < told; ++i) remarks.push_back({title, dtc_words(schema, list.dtcs[i])});
  if (told < list.dtcs.size())
    remarks.push_back({title, fmt::format("and {} more trouble codes", list.dtcs.size() - told)});
  if (list.malformed) remarks.push_back({"malformed", "the list of trouble codes is torn off"});
}

}  // namespace

const Teller trouble_codes{{kPgnDm1, kPgnDm2}, tell, true};

}  // namespace tramlog::tellers
