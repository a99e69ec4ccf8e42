// Acknowledgement (ISO 11783-3; fact sheet, network and diagnostics, 4.2): what became of whose request.
#include "isobus/acknowledgement.hpp"

#include <fmt/format.h>

#include "decode/remark_tools.hpp"
#include "exam/words.hpp"

namespace tramlog::tellers {

extern const Teller acknowledgement;

namespace {

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  if (message.data.size() < 8) return remark_too_short(remarks, message, 8);
  const auto answer = parse_acknowledgement(message.data);
  if (!answer) {
    remarks.push_back({"answers", "a request for a number of more than 18 bits, which is no PGN"});
    return;
  }
  std::string text = acknowledgement_text(answer->control) + ": " + pgn_title(schema, answer->pgn);
  if (answer->acknowledged) text += ", asked for by " + address_words(*answer->acknowledged);
  if (answer->group_function != 0xFF) text += fmt::format(", group function {}", answer->group_function);
  remarks.push_back({"answer", std::move(text)});
}

}  // namespace

const Teller acknowledgement{{kPgnAcknowledgement}, tell, true};

}  // namespace tramlog::tellers
