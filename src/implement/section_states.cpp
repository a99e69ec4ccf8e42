#include "implement/section_states.hpp"

namespace tramlog {

std::optional<CondensedBlock> condensed_block(std::uint16_t ddi) {
  const auto block = [ddi](CondensedKind kind, unsigned first) {
    return CondensedBlock{kind, 16 * (ddi - first) + 1};
  };
  if (ddi >= 161 && ddi <= 176) return block(CondensedKind::actual, 161);
  if (ddi >= 290 && ddi <= 305) return block(CondensedKind::setpoint, 290);
  if (ddi >= 367 && ddi <= 382) return block(CondensedKind::override_state, 367);
  return std::nullopt;
}

}  // namespace tramlog
