// The device description of a drill, object by object (fact sheet, process data, 4). Nothing here is shared
// with the code that reads it.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "stage/implement_spec.hpp"

namespace tramlog::stage {

/// Where what is found in the description.
struct ElementNumbers {
  unsigned device = 0, connector = 1, boom = 2, first_bin = 3, first_section = 0, blower = 0, reference = 0;
};
ElementNumbers number_elements(const ImplementSpec& spec);

struct Pool {
  std::vector<std::uint8_t> bytes;
  unsigned objects = 0;
  std::array<std::uint8_t, 7> structure_label{}, localization_label{};
  std::vector<std::uint8_t> extended_label;  // empty below version 4
  std::vector<unsigned> section_object_ids;  // of the DETs
};
/// The structure label follows from everything else, so that the same machine has the same label.
Pool build_pool(const ImplementSpec& spec, std::uint64_t name);

}  // namespace tramlog::stage
