// What sections were told and what they did, out of condensed work states and single ones (fact sheet, process data, 5.2, 5.3).
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "implement/values.hpp"

namespace tramlog {

/// Two bits of a work state (5.2). In a setpoint, `no_change` stands where an actual state has `not_installed`.
enum class SectionState : std::uint8_t { off = 0, on = 1, error = 2, not_installed = 3 };

inline constexpr unsigned kMaxSections = 256;

/// First section (counted from 1) and DDI family of a condensed DDI.
enum class CondensedKind : std::uint8_t { actual, setpoint, override_state };
struct CondensedBlock {
  CondensedKind kind = CondensedKind::actual;
  unsigned first_section = 1;
};
/// Of 161-176, 290-305, 367-382; none for others.
std::optional<CondensedBlock> condensed_block(std::uint16_t ddi);

}  // namespace tramlog
