#include "implement/totals_width.hpp"

#include <algorithm>

#include "implement/section_states.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kActualWidth = 67, kDefaultWidth = 68, kMaximumWidth = 70, kYOffset = 135, kWorkState = 141;
constexpr std::uint16_t kFirstCondensed = 161, kLastCondensed = 176;
constexpr double kMmPerM = 1000;
constexpr std::size_t kDeepest = 64;  // parents above each other; a pool may hold loops

bool is_type(const ElementObject& element, ElementType type) {
  return element.type == static_cast<std::uint8_t>(type);
}

}  // namespace

bool WorkingWidth::depends_on(std::uint16_t ddi) {
  return (ddi >= 66 && ddi <= kMaximumWidth) || ddi == kYOffset || ddi == kWorkState ||
         (ddi >= kFirstCondensed && ddi <= kLastCondensed);
}

std::vector<const ElementObject*> WorkingWidth::chain(std::uint16_t element) const {
  std::vector<const ElementObject*> all;
  const ElementObject* at = device_.pool.element_by_number(element);
  while (at != nullptr && all.size() < kDeepest && std::find(all.begin(), all.end(), at) == all.end()) {
    all.push_back(at);
    at = device_.pool.element_by_id(at->parent);
  }
  return all;
}

bool WorkingWidth::is_below(const DevicePool& pool, const ElementObject& element, std::uint16_t ancestor) {
  const ElementObject* at = &element;
  for (std::size_t depth = 0; at != nullptr && depth < kDeepest; ++depth) {
    if (at->parent == ancestor && at->id != ancestor) return true;
    at = pool.element_by_id(at->parent);
  }
  return false;
}

const std::vector<std::uint16_t>& WorkingWidth::sections_below(std::uint16_t element) const {
  const auto known = trees_.find(element);
  if (known != trees_.end()) return known->second;
  std::vector<std::uint16_t>& sections = trees_[element];
  const ElementObject* top = device_.pool.element_by_number(element);
  if (top == nullptr) return sections;
  for (const ElementObject& one : device_.pool.elements)
    if (is_type(one, ElementType::section) && sections.size() < kMaxSections && is_below(device_.pool, one, top->id))
      sections.push_back(one.number);
  std::sort(sections.begin(), sections.end());
  sections.erase(std::unique(sections.begin(), sections.end()), sections.end());
  std::map<std::uint16_t, std::int64_t> places;
  for (const std::uint16_t section : sections)
    if (const auto y = device_.value_of({section, kYOffset})) places[section] = *y;
  if (places.size() == sections.size())
    std::stable_sort(sections.begin(), sections.end(),
                     [&places](std::uint16_t a, std::uint16_t b) { return places[a] < places[b]; });
  return sections;
}

// A width that is told again and again, or on change. One that was asked for once says what it was then, perhaps 0 at
// standstill.
std::optional<double> WorkingWidth::told_width(std::uint16_t element) const {
  const ValueEntry* entry = device_.values.find({element, kActualWidth});
  if (entry == nullptr || !entry->told || entry->told->raw < 0) return std::nullopt;
  bool live = entry->count >= 3 && entry->least != entry->greatest;
  for (const auto& measurement : entry->measurements) live = live || (measurement && !measurement->refused);
  if (!live) return std::nullopt;
  return static_cast<double>(entry->told->raw) / kMmPerM;
}

std::optional<double> WorkingWidth::declared_width(std::uint16_t element) const {
  const ValueEntry* told = device_.values.find({element, kActualWidth});
  if (device_.pool.property({element, kActualWidth}) == nullptr && told != nullptr && told->count > 0 &&
      told->greatest > 0)
    return static_cast<double>(told->greatest) / kMmPerM;
  for (const std::uint16_t ddi : {kActualWidth, kMaximumWidth, kDefaultWidth})
    if (const auto mm = device_.value_of({element, ddi}); mm && *mm > 0) return static_cast<double>(*mm) / kMmPerM;
  return std::nullopt;
}

// Its own state, else its place in the condensed states of the nearest element above it that tells any.
std::optional<bool> WorkingWidth::section_on(std::uint16_t section) const {
  if (const auto own = device_.values.told({section, kWorkState})) return *own == 1;
  for (const ElementObject* above : chain(section)) {
    if (above->number == section) continue;
    const auto& order = sections_below(above->number);
    const auto place = std::find(order.begin(), order.end(), section);
    if (place == order.end()) continue;
    const auto index = static_cast<std::size_t>(place - order.begin());
    const auto ddi = static_cast<std::uint16_t>(kFirstCondensed + index / 16);
    if (ddi > kLastCondensed) continue;
    if (const auto states = device_.values.told({above->number, ddi}))
      return (*states >> (2 * (index % 16)) & 3) == static_cast<int>(SectionState::on);
  }
  return std::nullopt;
}

std::optional<double> WorkingWidth::sum_of_sections(const ElementObject& boom) const {
  double sum = 0;
  for (const std::uint16_t section : sections_below(boom.number)) {
    const auto on = section_on(section);
    if (!on) return std::nullopt;
    if (!*on) continue;
    const auto width = declared_width(section);
    if (!width) return std::nullopt;
    sum += *width;
  }
  return sum;
}

WorkingWidth::Width WorkingWidth::gated(double m) const {
  const auto sections = device_.any_section_on();
  const bool on = sections ? *sections : device_.work_state().value_or(true);
  return {on ? m : 0, Source::declared};
}

WorkingWidth::Width WorkingWidth::of(std::uint16_t element) const {
  const auto above = chain(element);
  if (above.empty())
    if (const auto told = told_width(element)) return {told, Source::told};
  for (const ElementObject* one : above)
    if (const auto told = told_width(one->number)) return {told, Source::told};

  // The device itself, or a bin beside the boom: the only boom there is, else nobody knows which.
  const ElementObject* boom = nullptr;
  for (const ElementObject* one : above)
    if (!is_type(*one, ElementType::device) && !sections_below(one->number).empty()) {
      boom = one;
      break;
    }
  std::size_t candidates = 0;
  const ElementObject* only = nullptr;
  if (boom == nullptr)
    for (const ElementObject& one : device_.pool.elements) {
      if (!is_type(one, ElementType::function)) continue;
      const bool is_boom = !sections_below(one.number).empty() || told_width(one.number) || declared_width(one.number);
      // Of functions within each other the outermost.
      if (!is_boom || (only != nullptr && is_below(device_.pool, one, only->id))) continue;
      only = &one;
      ++candidates;
    }
  if (boom == nullptr && candidates == 1) {
    boom = only;
    if (const auto told = told_width(boom->number)) return {told, Source::told};
  }
  if (boom == nullptr && candidates == 0 && !above.empty() && !sections_below(above.back()->number).empty())
    boom = above.back();

  if (boom != nullptr && !sections_below(boom->number).empty())
    if (const auto sum = sum_of_sections(*boom)) return {sum, Source::sections};
  if (above.empty()) {
    if (const auto width = declared_width(element)) return gated(*width);
    return {};
  }
  for (const ElementObject* one : above)
    if (const auto width = declared_width(one->number)) return gated(*width);
  if (boom != nullptr)
    if (const auto width = declared_width(boom->number)) return gated(*width);
  return {};
}

}  // namespace tramlog
