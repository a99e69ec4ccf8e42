// Address claimed and commanded address (ISO 11783-5; fact sheet, network and diagnostics, 2.1, 3.1).
#include "decode/remark_tools.hpp"
#include "exam/words.hpp"
#include "isobus/network.hpp"

namespace tramlog::tellers {

extern const Teller address_claim;

namespace {

constexpr std::size_t kNameBytes = 8;
constexpr std::size_t kCommandBytes = 9;

void tell_command(const Message& message, std::vector<Remark>& remarks) {
  if (message.data.size() < kCommandBytes) return remark_too_short(remarks, message, kCommandBytes);
  remarks.push_back({"commands", "address " + address_words(message.data[8])});
  remarks.push_back({"to whom", name_words(Name::from_claim(message.data.data()))});
}

void tell(const Message& message, const Schema&, std::vector<Remark>& remarks) {
  if (message.pgn == kPgnCommandedAddress) return tell_command(message, remarks);
  if (message.data.size() < kNameBytes) return remark_too_short(remarks, message, kNameBytes);
  const Name name = Name::from_claim(message.data.data());
  std::string claim = message.source == kNullAddress ? "no address: cannot claim one"
                                                     : "address " + address_words(message.source);
  if (name.self_configurable_address()) claim += ", can choose another one itself";
  remarks.push_back({"claims", std::move(claim)});
  remarks.push_back({"is", name_words(name)});
}

}  // namespace

const Teller address_claim{{kPgnAddressClaimed, kPgnCommandedAddress}, tell, true};

}  // namespace tramlog::tellers
