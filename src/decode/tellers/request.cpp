// Request (ISO 11783-3; fact sheet, network and diagnostics, 4.1): which message is wanted.
#include "decode/remark_tools.hpp"
#include "isobus/acknowledgement.hpp"

namespace tramlog::tellers {

extern const Teller request;

namespace {

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  if (const auto pgn = parse_request(message.data))
    remarks.push_back({"asks for", pgn_title(schema, *pgn)});
  else if (message.data.size() < 3)
    remark_too_short(remarks, message, 3);
  else
    remarks.push_back({"asks for", "a number of more than 18 bits, which is no PGN"});
}

}  // namespace

const Teller request{{kPgnRequest}, tell, true};

}  // namespace tramlog::tellers
