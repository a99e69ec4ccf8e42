// File server status and client maintenance (fact sheet, process data, 7.7). Other functions of part 13 are
// told by number only.
#include <fmt/format.h>

#include "decode/remark_tools.hpp"
#include "exam/words.hpp"

namespace tramlog::tellers {

extern const Teller file_server;

namespace {

constexpr Pgn kPgnFromClient = 0xAA00, kPgnFromServer = 0xAB00;
constexpr BitWord kBusy[] = {{0x01, "busy reading"}, {0x02, "busy writing"}};

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  const Bytes b = message.data;
  if (b.empty()) return remark_too_short(remarks, message, 1);
  if (b[0] != 0) {
    remarks.push_back({"function", fmt::format("0x{:02X}", b[0])});
    return;
  }
  if (message.pgn == kPgnFromClient) {
    remarks.push_back({"client maintenance",
                       b.size() < 2 || b[1] == 0xFF ? "no version told" : fmt::format("version {}", b[1])});
    return;
  }
  if (b.size() < 3) return remark_too_short(remarks, message, 3);
  const std::string busy = bit_words(b[1], kBusy);
  remarks.push_back({"file server status", fmt::format("{}, {} open", busy.empty() ? "idle" : busy,
                                                       counted(b[2], "file", "files"))});
}

}  // namespace

const Teller file_server{{kPgnFromClient, kPgnFromServer}, tell};

}  // namespace tramlog::tellers
