// Control messages of TP and ETP (ISO 11783-3; fact sheet, network and diagnostics, 5.1 and 5.2).
#include <fmt/format.h>

#include "decode/remark_tools.hpp"
#include "exam/words.hpp"
#include "isobus/pgn_field.hpp"
#include "isobus/transfers.hpp"

namespace tramlog::tellers {

extern const Teller transport_control;

namespace {

constexpr Pgn kPgnTp = 0xEC00, kPgnEtp = 0xC800;

struct Said {
  const char* name = nullptr;
  std::string text;
};

std::string clear_words(std::uint32_t packets, std::uint32_t next) {
  if (packets == 0) return "hold on, no packets for now";
  return fmt::format("{} from number {}", counted(packets, "packet", "packets"), next);
}

Said read_tp(const std::uint8_t* b) {
  const std::uint32_t size = load_le16(b + 1);
  switch (b[0]) {
    case 16: {
      std::string text =
          fmt::format("{} in {}", counted(size, "byte", "bytes"), counted(b[3], "packet", "packets"));
      if (b[4] != 0xFF) text += fmt::format(", at most {} at once", b[4]);
      return {"wants to send", std::move(text)};
    }
    case 17:
      return {"clear to send", clear_words(b[1], b[2])};
    case 19:
      return {"has received",
              fmt::format("{} in {}", counted(size, "byte", "bytes"), counted(b[3], "packet", "packets"))};
    case 32:
      return {"will broadcast",
              fmt::format("{} in {}", counted(size, "byte", "bytes"), counted(b[3], "packet", "packets"))};
    case 255:
      return {"aborts", fmt::format("{} (reason {})", abort_reason_text(b[1], Carrier::rts_cts), b[1])};
    default:
      return {};
  }
}

Said read_etp(const std::uint8_t* b) {
  const std::uint32_t size = load_le32(b + 1);
  const std::uint32_t number = load_le24(b + 2);
  switch (b[0]) {
    case 20:
      return {"wants to send", counted(size, "byte", "bytes")};
    case 21:
      return {"clear to send", clear_words(b[1], number)};
    case 22:
      return {"goes on", fmt::format("{} from number {}", counted(b[1], "packet", "packets"), number + 1)};
    case 23:
      return {"has received", counted(size, "byte", "bytes")};
    case 255:
      return {"aborts", fmt::format("{} (reason {})", abort_reason_text(b[1], Carrier::etp), b[1])};
    default:
      return {};
  }
}

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  if (message.data.size() < 8) return remark_too_short(remarks, message, 8);
  const std::uint8_t* b = message.data.data();
  Said said = message.pgn == kPgnTp ? read_tp(b) : read_etp(b);
  if (!said.name) {
    remarks.push_back({"control byte", fmt::format("{}, not known", b[0])});
    return;
  }
  const auto pgn = load_pgn_field(b + 5);
  said.text += " of " + (pgn ? pgn_title(schema, *pgn) : std::string("a number that is no PGN"));
  remarks.push_back({said.name, std::move(said.text)});
}

}  // namespace

const Teller transport_control{{kPgnTp, kPgnEtp}, tell, true};

}  // namespace tramlog::tellers
