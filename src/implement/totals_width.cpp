#include "implement/totals_width.hpp"

#include <algorithm>

#include "implement/section_states.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kActualWidth = 67, kMaximumWidth = 70, kXOffset = 134, kYOffset = 135,
                        kWorkState = 141;
constexpr std::uint16_t kFirstCondensed = 161, kLastCondensed = 176;
constexpr double kMmPerM = 1000;

double metres(const DeclaredWidth& width) {
  return static_cast<double>(width.mm) / kMmPerM;
}

}  // namespace

const Layout& WorkingWidth::layout() const {
  if (!layout_) layout_ = layout_of(device_);
  return *layout_;
}

bool WorkingWidth::take(const ProcessValue& value) {
  const std::uint16_t ddi = value.variable.ddi;
  const bool condensed = ddi >= kFirstCondensed && ddi <= kLastCondensed;
  const bool place = (ddi > 67 && ddi <= kMaximumWidth) || ddi == kXOffset || ddi == kYOffset;
  if (ddi == kActualWidth || ddi == kWorkState || condensed || place) {
    // States only switch what stands; the first word of an element may show a new boom.
    const ValueEntry* entry = device_.values.find(value.variable);
    if (place || (ddi != kWorkState && entry != nullptr && entry->count <= 1) ||
        (ddi == kActualWidth && is_section(device_, value.variable.element)))
      forget();
    return true;
  }
  return false;
}

// A width that is told again and again, or on change. One that was asked for once says what it was then,
// perhaps 0 at standstill.
std::optional<double> WorkingWidth::told_width(std::uint16_t element) const {
  const ValueEntry* entry = device_.values.find({element, kActualWidth});
  if (entry == nullptr || !entry->told || entry->told->raw < 0 || is_section(device_, element))
    return std::nullopt;
  bool live = entry->count >= 3 && entry->least != entry->greatest;
  for (const auto& measurement : entry->measurements) live = live || (measurement && !measurement->refused);
  if (!live) return std::nullopt;
  return static_cast<double>(entry->told->raw) / kMmPerM;
}

// Its own state, else its place in the boom's condensed states.
std::optional<bool> WorkingWidth::section_on(const BoomPlace& boom, const SectionPlace& section) const {
  if (section.element)
    if (const auto own = device_.values.told({*section.element, kWorkState})) return *own == 1;
  const unsigned index = section.number - 1;
  const auto ddi = static_cast<std::uint16_t>(kFirstCondensed + index / 16);
  if (ddi > kLastCondensed) return std::nullopt;
  const auto states = device_.values.told({boom.element, ddi});
  if (!states) return std::nullopt;
  return (*states >> (2 * (index % 16)) & 3) == static_cast<int>(SectionState::on);
}

std::optional<double> WorkingWidth::sum_of_sections(const BoomPlace& boom) const {
  if (boom.sections.empty()) return std::nullopt;
  double sum = 0;
  for (const SectionPlace& section : boom.sections) {
    const auto on = section_on(boom, section);
    if (!on) return std::nullopt;
    if (!*on) continue;
    if (!section.width) return std::nullopt;
    sum += metres(*section.width);
  }
  return sum;
}

WorkingWidth::Width WorkingWidth::gated(const DeclaredWidth& width) const {
  const auto sections = device_.any_section_on();
  const bool on = sections ? *sections : device_.work_state().value_or(true);
  return {on ? metres(width) : 0, Source::declared};
}

WorkingWidth::Width WorkingWidth::of(std::uint16_t element) const {
  const std::vector<std::uint16_t> above = elements_above(device_, element);
  for (const std::uint16_t one : above)
    if (const auto told = told_width(one)) return {told, Source::told};

  // The boom above; of the device, or of a bin beside the boom, the only boom there is. With several nobody
  // knows which.
  const std::vector<BoomPlace>& booms = layout().booms;
  const BoomPlace* boom = nullptr;
  for (const std::uint16_t one : above)
    for (const BoomPlace& candidate : booms)
      if (boom == nullptr && candidate.element == one) boom = &candidate;
  if (boom == nullptr && booms.size() == 1) boom = &booms.front();
  if (boom != nullptr) {
    if (const auto told = told_width(boom->element)) return {told, Source::told};
    if (const auto sum = sum_of_sections(*boom)) return {sum, Source::sections};
  }
  for (const std::uint16_t one : above)
    if (const auto width = boom_width(device_, one)) return gated(*width);
  if (boom != nullptr && boom->width) return gated(*boom->width);
  return {};
}

}  // namespace tramlog
