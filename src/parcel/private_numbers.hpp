// Identity numbers of NAMEs in texts.
#pragma once

#include <cstdint>
#include <map>
#include <span>

namespace tramlog {

/// Replaces identity numbers by their stand-ins in place, leading zeros kept: decimal ones of four digits and
/// more, and the same numbers in hex behind 0x; in hex without it if they stand alone, are 0x1000 and more
/// and look like hex: with a letter, or in six digits. True if there was any.
bool replace_identity_numbers(std::span<std::uint8_t> text,
                              const std::map<std::uint32_t, std::uint32_t>& identities);

/// Whether `number`, written decimal or in hex, could be read as one of the identities.
bool reads_as_identity(std::uint64_t number, const std::map<std::uint32_t, std::uint32_t>& identities);

}  // namespace tramlog
