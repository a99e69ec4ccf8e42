// A roster without identities, serials and comments.
#pragma once

#include <string>
#include <string_view>

#include "base/result.hpp"
#include "exam/roster.hpp"
#include "parcel/private_terms.hpp"

namespace tramlog {

/// NAMEs and identity numbers that it asks for; false if there is no room for them.
bool learn_roster(const Roster& roster, PrivateTerms& terms);

/// The roster's text with stand-ins, written anew: comments are notes and go. `where` is named in errors.
Result<std::string> private_roster(std::string_view text, const std::string& where,
                                   const PrivateTerms& terms);

}  // namespace tramlog
