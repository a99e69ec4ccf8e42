// Pieces of JSON text. Internal to the JSON Lines.
#pragma once

#include <cstring>
#include <string>
#include <string_view>

#include "base/bytes.hpp"
#include "base/time_text.hpp"

namespace tramlog {

inline char* put(char* out, std::string_view text) {
  std::memcpy(out, text.data(), text.size());
  return out + text.size();
}

/// Decimal digits of an unsigned number; at most 20.
char* put_integer(char* out, std::uint64_t value);

/// A string in quotes; text that is no printable UTF-8 is made so (printable_utf8).
std::string json_string(std::string_view text);

/// The same for text of printable ASCII only; null, and nothing of use written, if there is anything else in
/// it. `out` has room for 2 x size + 2 characters.
char* put_plain_string(char* out, std::string_view text);

/// Lower-case hex without blanks: two characters a byte.
char* put_hex(char* out, Bytes bytes);

}  // namespace tramlog
