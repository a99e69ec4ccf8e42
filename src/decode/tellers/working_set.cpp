// Working set master and member (ISO 11783-7; fact sheet, network and diagnostics, 3.1 and 3.5).
#include "isobus/working_set.hpp"

#include <fmt/format.h>

#include "decode/remark_tools.hpp"

namespace tramlog::tellers {

extern const Teller working_set;

namespace {

void tell_master(const Message& message, std::vector<Remark>& remarks) {
  if (message.data.empty()) return remark_too_short(remarks, message, 1);
  const unsigned members = message.data[0];
  std::string text;
  if (members == 0)
    text = "no members told, not even itself: against the standard";
  else if (members == 1)
    text = "it is alone";
  else
    text = fmt::format("{} members, itself counted in", members);
  remarks.push_back({"leads a working set", std::move(text)});
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  if (message.pgn == kPgnWorkingSetMaster) return tell_master(message, remarks);
  if (message.data.size() < 8) return remark_too_short(remarks, message, 8);
  remarks.push_back({"has as member", name_words(Name::from_claim(message.data.data()))});
}

}  // namespace

const Teller working_set{{kPgnWorkingSetMaster, kPgnWorkingSetMember}, tell, true};

}  // namespace tramlog::tellers
