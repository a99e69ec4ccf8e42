#include "parcel/private_roster.hpp"

#include <sstream>

#include "base/toml.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kIdentityKey = "identity_number";

void conceal(toml::node& node, std::string_view key, const PrivateTerms& terms);

void conceal_all(toml::table& table, const PrivateTerms& terms) {
  for (auto&& [key, value] : table) conceal(value, key.str(), terms);
}

void conceal(toml::node& node, std::string_view key, const PrivateTerms& terms) {
  if (auto* table = node.as_table()) {
    conceal_all(*table, terms);
  } else if (auto* array = node.as_array()) {
    for (toml::node& part : *array) conceal(part, key, terms);
  } else if (auto* text = node.as_string()) {
    std::string& value = text->get();
    const auto name = Name::from_hex(value);
    value = name ? terms.stand_in(*name).hex() : terms.replaced_text(value);
  } else if (auto* number = node.as_integer(); number != nullptr && key == kIdentityKey) {
    number->get() = terms.stand_in(static_cast<std::uint32_t>(number->get()));
  }
}

}  // namespace

bool learn_roster(const Roster& roster, PrivateTerms& terms) {
  bool room = true;
  for (const RosterEntry& entry : roster.entries) {
    if (entry.name.exact) room = terms.learn_name(*entry.name.exact) && room;
    if (entry.name.identity_number) room = terms.learn_identity(*entry.name.identity_number) && room;
  }
  return room;
}

Result<std::string> private_roster(std::string_view text, const std::string& where,
                                   const PrivateTerms& terms) {
  toml::table table;
  if (const auto problem = parse_toml(text, where, table))
    return Error{ErrorKind::input, problem->what, where, "put the roster right: tramlog roster check"};
  conceal_all(table, terms);
  std::ostringstream out;
  out << toml::toml_formatter{table} << '\n';
  return out.str();
}

}  // namespace tramlog
