// The records of the sections of one device, and the lines section.* about them.
#pragma once

#include <memory>
#include <vector>

#include "implement/layout.hpp"
#include "implement/section_boom.hpp"

namespace tramlog {

/// Appends to `sections` and `lines`. `sections_not_kept`: known, but beyond the caps.
void tell_sections(const Device& device, const std::vector<const SectionBoom*>& booms, TimeNs end,
                   std::size_t sections_not_kept, ImplementRecord& out);

}  // namespace tramlog
