// Text from the bus and text for the reader.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.hpp"

namespace tramlog {

/// Bytes of a text field as UTF-8 that is safe to print: Latin-1 is converted, control bytes (00..1F, 7F..9F)
/// become
/// "\xNN" (fact sheet, network and diagnostics, 7.5).
std::string printable_latin1(Bytes bytes);

/// Any UTF-8 (a name from a file) made safe to print: control characters, invisible characters that turn or
/// hide the text around them, and invalid bytes become "\xNN" a byte.
std::string printable_utf8(std::string_view text);

/// Without blanks, tabs and line ends at both ends.
std::string_view trimmed(std::string_view text);

/// A to Z become a to z; nothing else is changed.
std::string ascii_lower(std::string_view text);

/// The whole text as a number without sign, decimal or with 0x; none if it is anything else or does not fit.
std::optional<std::uint32_t> parse_number(std::string_view text);

/// Whole-text match of a pattern in which * stands for any run, ? for any one character and [a-c] or [!a-c]
/// for one character of a set; case counts. A '[' that is never closed stands for itself. Characters are code
/// points. Takes time of at most pattern length x text length.
bool matches_glob(std::string_view pattern, std::string_view text);

/// Breaks text at blanks into lines of at most `width` columns (counted in code points); a longer word is
/// cut. A line end in the text stays one; blanks at line ends are dropped. No text, no lines.
std::vector<std::string> wrapped(std::string_view text, std::size_t width);

/// Pure ASCII, for e-mail: typographic signs are spelt out (a degree sign as "deg", a dash as "-"), anything
/// else outside printable ASCII becomes its code point ("\u00e9" as <e9>), an invalid byte <xe9>. Line ends
/// stay.
std::string as_ascii(std::string_view utf8);

/// Lower-case hex of the bytes, separated by `separator`: "0a ff".
std::string hex_bytes(Bytes bytes, std::string_view separator = " ");

}  // namespace tramlog
