// Heartbeat, PGN 61668 (fact sheet, network and diagnostics, 6.3): the codes above the counter.
#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller heartbeat;

namespace {

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  if (message.data.empty()) return remark_too_short(remarks, message, 1);
  switch (message.data[0]) {
    case 251:
      remarks.push_back({"heartbeat", "the first one after the start"});
      break;
    case 252:
    case 253:
      remarks.push_back({"heartbeat", "reserved code, receivers ignore it"});
      break;
    case 254:
      remarks.push_back({"heartbeat", "the sender says that it is in an error state"});
      break;
    case 255:
      remarks.push_back({"heartbeat", "the sender stops on purpose"});
      break;
    default:
      break;  // counter
  }
}

}  // namespace

const Teller heartbeat{{0xF0E4}, tell};

}  // namespace tramlog::tellers
