// The width over which an element works at the moment, out of what the bus tells (fact sheet, process data, 5.3: DDI 67,
// then 70, then 68; section states).
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "implement/device.hpp"

namespace tramlog {

/// Asks the device; keeps only what the pool says about who stands where.
class WorkingWidth {
 public:
  enum class Source : std::uint8_t { none, told, sections, declared };
  struct Width {
    std::optional<double> m;  // 0 while nothing is on; none: not known
    Source source = Source::none;
  };

  explicit WorkingWidth(const Device& device) : device_(device) {}

  /// The description changed.
  void forget() { trees_.clear(); }
  /// Of the element, its boom, or the device, whichever says something first.
  Width of(std::uint16_t element) const;
  /// Values of this DDI may change a width.
  static bool depends_on(std::uint16_t ddi);
  /// Element numbers of the sections below this element, left to right: by their Y offsets (DDI 135) if all have
  /// one, else in the order of their numbers.
  const std::vector<std::uint16_t>& sections_below(std::uint16_t element) const;
  /// The element itself, its parent, .. up to the device.
  std::vector<const ElementObject*> chain(std::uint16_t element) const;
  static bool is_below(const DevicePool& pool, const ElementObject& element, std::uint16_t ancestor);

 private:
  std::optional<double> told_width(std::uint16_t element) const;
  std::optional<double> declared_width(std::uint16_t element) const;
  std::optional<bool> section_on(std::uint16_t section) const;
  std::optional<double> sum_of_sections(const ElementObject& boom) const;
  Width gated(double m) const;

  const Device& device_;
  mutable std::map<std::uint16_t, std::vector<std::uint16_t>> trees_;  // sections_below
};

}  // namespace tramlog
