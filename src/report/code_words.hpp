// Codes of causes, faults and lines of the check-list in a few words, for headings: what happened, not to
// whom and when.
#pragma once

#include <string>

namespace tramlog {

/// "a shared supply or ground failed" for supply.shared. A code without words of its own is spelled out:
/// "total differs" for total.differs.
std::string code_words(const std::string& code);
/// The words, whom they are about (may be empty) and the code: "a shared supply or ground failed: cart
/// [supply.shared]".
std::string code_heading(const std::string& code, const std::string& who);

}  // namespace tramlog
