// Which booms a device has and which sections stand on them from left to right, with their places and widths,
// out of its description and what it tells (ISO 11783-10, -11; fact sheet, process data, 5.2 to 5.4, 5.7).
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "implement/device.hpp"
#include "implement/section_states.hpp"

namespace tramlog {

/// A width in mm and where it comes from: DDI 67, 68 or 70.
struct DeclaredWidth {
  std::int64_t mm = 0;
  std::uint16_t ddi = kNoDdi;
};

struct SectionPlace {
  unsigned number = 0;  // on its boom, counted from 1 at the left: its place in the condensed work states
  std::optional<std::uint16_t> element;  // none: known by its number only
  /// Of its middle, from the device reference point: DDI 134 (forward) and 135 (right). None: not known.
  std::optional<std::int64_t> x_mm, y_mm;
  std::optional<DeclaredWidth> width;
  bool outer = false;  // of the outer quarter on either side; never with fewer than four sections
};

struct BoomPlace {
  std::uint16_t element =
      0;  // the one with the condensed work states, else the function or device that holds the sections
  bool condensed = false;  // condensed work states are listed, told or set
  std::optional<std::int64_t> x_mm, y_mm;
  std::optional<DeclaredWidth> width;
  bool by_offsets = false;             // ordered by DDI 135, else by element numbers (5.4: geometry wins)
  std::vector<SectionPlace> sections;  // left to right
};

struct Layout {
  static constexpr std::size_t kMaxBooms = 32;
  static constexpr std::size_t kMaxPlaces = 512;  // sections of all booms
  bool described = false;                         // there is a description
  std::vector<BoomPlace> booms;  // by element number; only those with sections or condensed states
  std::size_t sections_not_kept = 0;
};

/// As the device is known now. Without a description only the elements with condensed states are known, and
/// their `sections` stay empty: how many are installed is told by the states.
Layout layout_of(const Device& device);

/// The element itself and what stands above it, up to the device element; without a description the element
/// and 0.
std::vector<std::uint16_t> elements_above(const Device& device, std::uint16_t element);
/// The boom to which a section element belongs: the nearest above it with condensed states, else the nearest
/// function or device.
std::optional<std::uint16_t> boom_of(const Device& device, std::uint16_t section_element);
bool is_section(const Device& device, std::uint16_t element);
/// DDI 161 to 176 or 290 to 305 are listed by it, told by it or set to it.
bool carries_condensed(const Device& device, std::uint16_t element);

/// Of a section: DDI 67, else 70, else 68. Of a boom or the device: 70, else 67 (the greatest that was told:
/// it follows the sections), else 68.
std::optional<DeclaredWidth> section_width(const Device& device, std::uint16_t element);
std::optional<DeclaredWidth> boom_width(const Device& device, std::uint16_t element);

}  // namespace tramlog
