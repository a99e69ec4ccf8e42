// The width over which an element works at the moment, out of what the bus tells (fact sheet, process
// data, 5.3: DDI 67, then 70, then 68; section states).
#pragma once

#include <cstdint>
#include <optional>

#include "implement/device.hpp"
#include "implement/layout.hpp"

namespace tramlog {

class WorkingWidth {
 public:
  enum class Source : std::uint8_t { none, told, sections, declared };
  struct Width {
    std::optional<double> m;  // 0 while nothing is on; none: not known
    Source source = Source::none;
  };

  explicit WorkingWidth(const Device& device) : device_(device) {}

  /// The description changed.
  void forget() { layout_.reset(); }
  /// A value came; true if widths may be others now.
  bool take(const ProcessValue& value);
  /// Of the element, its boom, or the device, whichever says something first.
  Width of(std::uint16_t element) const;

 private:
  const Layout& layout() const;
  std::optional<double> told_width(std::uint16_t element) const;
  std::optional<double> sum_of_sections(const BoomPlace& boom) const;
  std::optional<bool> section_on(const BoomPlace& boom, const SectionPlace& section) const;
  Width gated(const DeclaredWidth& width) const;

  const Device& device_;
  mutable std::optional<Layout> layout_;
};

}  // namespace tramlog
