#include "implement/layout.hpp"

#include <algorithm>
#include <map>
#include <set>

namespace tramlog {
namespace {

constexpr std::uint16_t kActualWidth = 67, kDefaultWidth = 68, kMaximumWidth = 70;
constexpr std::uint16_t kOffsetX = 134, kOffsetY = 135;
constexpr std::uint16_t kFirstActual = 161, kLastActual = 176, kFirstSetpoint = 290, kLastSetpoint = 305;
constexpr std::size_t kDeepest = 16;  // parents above each other; a broken pool may hold loops

bool has_type(const ElementObject& element, ElementType type) {
  return element.type == static_cast<std::uint8_t>(type);
}

bool is_condensed(std::uint16_t ddi) {
  return (ddi >= kFirstActual && ddi <= kLastActual) || (ddi >= kFirstSetpoint && ddi <= kLastSetpoint);
}

std::optional<DeclaredWidth> first_width(const Device& device, std::uint16_t element,
                                         std::initializer_list<std::uint16_t> ddis) {
  for (const std::uint16_t ddi : ddis)
    if (const auto mm = device.value_of({element, ddi}); mm && *mm > 0) return DeclaredWidth{*mm, ddi};
  return std::nullopt;
}

template <class Carries>
std::optional<std::uint16_t> boom_among(const Device& device, std::uint16_t section_element,
                                        const Carries& carries) {
  const std::vector<std::uint16_t> above = elements_above(device, section_element);
  for (std::size_t i = 1; i < above.size(); ++i)
    if (carries(above[i])) return above[i];
  for (std::size_t i = 1; i < above.size(); ++i) {
    const ElementObject* object = device.pool.element_by_number(above[i]);
    if (object != nullptr &&
        (has_type(*object, ElementType::function) || has_type(*object, ElementType::device)))
      return above[i];
  }
  return std::nullopt;
}

void put_in_order(const Device& device, BoomPlace& boom, std::vector<std::uint16_t> elements) {
  std::sort(elements.begin(), elements.end());
  elements.erase(std::unique(elements.begin(), elements.end()), elements.end());
  std::map<std::uint16_t, std::int64_t> places;
  for (const std::uint16_t element : elements)
    if (const auto y = device.value_of({element, kOffsetY})) places[element] = *y;
  if (places.size() == elements.size() && !elements.empty()) {
    std::stable_sort(elements.begin(), elements.end(),
                     [&places](std::uint16_t a, std::uint16_t b) { return places[a] < places[b]; });
    boom.by_offsets = true;
  }
  for (const std::uint16_t element : elements) {
    SectionPlace place;
    place.number = static_cast<unsigned>(boom.sections.size()) + 1;
    place.element = element;
    place.x_mm = device.value_of({element, kOffsetX});
    place.y_mm = device.value_of({element, kOffsetY});
    place.width = section_width(device, element);
    boom.sections.push_back(place);
  }
  const std::size_t count = boom.sections.size(), outer = count / 4;
  for (std::size_t i = 0; i < count; ++i) boom.sections[i].outer = i < outer || i >= count - outer;
}

}  // namespace

bool is_section(const Device& device, std::uint16_t element) {
  const ElementObject* object = device.pool.element_by_number(element);
  return object != nullptr && has_type(*object, ElementType::section);
}

bool carries_condensed(const Device& device, std::uint16_t element) {
  for (std::uint16_t ddi = kFirstActual; ddi <= kLastSetpoint; ++ddi) {
    if (!is_condensed(ddi)) continue;
    if (device.pool.variable({element, ddi}) != nullptr || device.values.find({element, ddi}) != nullptr)
      return true;
  }
  return false;
}

std::vector<std::uint16_t> elements_above(const Device& device, std::uint16_t element) {
  std::vector<std::uint16_t> all{element};
  const ElementObject* object = device.pool.element_by_number(element);
  if (object == nullptr) {
    if (element != 0) all.push_back(0);
    return all;
  }
  for (std::size_t depth = 0; depth < kDeepest; ++depth) {
    const ElementObject* parent = device.pool.element_by_id(object->parent);
    if (parent == nullptr || std::find(all.begin(), all.end(), parent->number) != all.end()) break;
    all.push_back(parent->number);
    object = parent;
  }
  return all;
}

std::optional<std::uint16_t> boom_of(const Device& device, std::uint16_t section_element) {
  return boom_among(device, section_element,
                    [&](std::uint16_t one) { return carries_condensed(device, one); });
}
std::optional<DeclaredWidth> section_width(const Device& device, std::uint16_t element) {
  return first_width(device, element, {kActualWidth, kMaximumWidth, kDefaultWidth});
}

std::optional<DeclaredWidth> boom_width(const Device& device, std::uint16_t element) {
  if (const auto most = first_width(device, element, {kMaximumWidth})) return most;
  if (device.pool.property({element, kActualWidth}) == nullptr) {
    const ValueEntry* told = device.values.find({element, kActualWidth});
    if (told != nullptr && told->count > 0 && told->greatest > 0)
      return DeclaredWidth{told->greatest, kActualWidth};
  }
  return first_width(device, element, {kActualWidth, kDefaultWidth});
}

Layout layout_of(const Device& device) {
  Layout layout;
  layout.described = !device.pool.elements.empty();
  std::map<std::uint16_t, std::vector<std::uint16_t>> groups;  // sections of a boom
  for (const ElementObject& element : device.pool.elements)
    for (const std::uint16_t id : element.references)
      if (const VariableObject* variable = device.pool.variable_by_id(id);
          variable != nullptr && is_condensed(variable->ddi)) {
        groups[element.number];
        break;
      }
  for (const auto& [variable, entry] : device.values.all())
    if (is_condensed(variable.ddi)) groups[variable.element];
  std::set<std::uint16_t> condensed;
  for (const auto& [element, sections] : groups) condensed.insert(element);
  std::size_t kept = 0;
  std::set<std::uint16_t> seen;
  for (const ElementObject& element : device.pool.elements) {
    if (!has_type(element, ElementType::section) || !is_section(device, element.number)) continue;
    if (!seen.insert(element.number).second) continue;
    if (kept >= Layout::kMaxPlaces) {
      ++layout.sections_not_kept;
      continue;
    }
    const auto boom =
        boom_among(device, element.number, [&](std::uint16_t one) { return condensed.count(one) != 0; });
    if (!boom) continue;
    auto& sections = groups[*boom];
    if (sections.size() >= kMaxSections) {
      ++layout.sections_not_kept;
      continue;
    }
    ++kept;
    sections.push_back(element.number);
  }
  for (auto& [element, sections] : groups) {
    if (layout.booms.size() >= Layout::kMaxBooms) {
      layout.sections_not_kept += sections.size();
      continue;
    }
    BoomPlace boom;
    boom.element = element;
    boom.condensed = condensed.count(element) != 0;
    boom.x_mm = device.value_of({element, kOffsetX});
    boom.y_mm = device.value_of({element, kOffsetY});
    boom.width = boom_width(device, element);
    put_in_order(device, boom, std::move(sections));
    layout.booms.push_back(std::move(boom));
  }
  return layout;
}

}  // namespace tramlog
