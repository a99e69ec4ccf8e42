// Request for a repetition rate and its response (fact sheet, network and diagnostics, 4.3; signals, 65038).
#include <fmt/format.h>

#include "decode/remark_tools.hpp"
#include "isobus/acknowledgement.hpp"

namespace tramlog::tellers {

extern const Teller repetition_rate;

namespace {

constexpr Pgn kPgnResponse = 0xFE0E;              // 65038
constexpr std::uint16_t kLargestPeriod = 0xFAFF;  // ms, above it the value says that there is none

void tell(const Message& message, const Schema& schema, std::vector<Remark>& remarks) {
  if (message.data.size() < 5) return remark_too_short(remarks, message, 5);
  const auto rate = parse_repetition_rate_request(message.data);
  if (!rate) {
    remarks.push_back({"message", "a number of more than 18 bits, which is no PGN"});
    return;
  }
  std::string pace;
  if (rate->period_ms == 0)
    pace = "its usual pace";
  else if (rate->period_ms <= kLargestPeriod)
    pace = fmt::format("every {} ms", rate->period_ms);
  else
    pace = "no pace given";
  remarks.push_back({message.pgn == kPgnResponse ? "sends" : "asks for",
                     fmt::format("{}: {}", pgn_title(schema, rate->pgn), pace)});
}

}  // namespace

const Teller repetition_rate{{kPgnRequestRepetitionRate, kPgnResponse}, tell, true};

}  // namespace tramlog::tellers
