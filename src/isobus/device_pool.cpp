#include "isobus/device_pool.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <iterator>
#include <numeric>

#include "base/text.hpp"

namespace tramlog {
namespace {

/// Positions 0..n-1 ordered by `key`, equal keys in the list's order.
template <class List, class Key>
std::vector<std::uint32_t> ordered(const List& list, Key key) {
  std::vector<std::uint32_t> order(list.size());
  std::iota(order.begin(), order.end(), 0u);
  std::stable_sort(order.begin(), order.end(),
                   [&](std::uint32_t a, std::uint32_t b) { return key(list[a]) < key(list[b]); });
  return order;
}

constexpr auto id_of = [](const auto& object) { return object.id; };
constexpr auto number_of = [](const ElementObject& element) { return element.number; };
constexpr auto parent_of = [](const ElementObject& element) { return element.parent; };

/// The first object of that key; null if there is none.
template <class List, class Key>
const typename List::value_type* first_of(const List& list, const std::vector<std::uint32_t>& order, Key key,
                                          std::uint16_t wanted) {
  // A list that was filled by hand and not indexed yet is searched from its beginning.
  if (order.size() != list.size()) {
    const auto found =
        std::find_if(list.begin(), list.end(), [&](const auto& object) { return key(object) == wanted; });
    return found == list.end() ? nullptr : &*found;
  }
  const auto found =
      std::lower_bound(order.begin(), order.end(), wanted,
                       [&](std::uint32_t at, std::uint16_t value) { return key(list[at]) < value; });
  return found == order.end() || key(list[*found]) != wanted ? nullptr : &list[*found];
}

/// Sorted by variable; of the same variable only the first.
void keep_first(std::vector<PoolIndex::Listed>& listed) {
  std::stable_sort(listed.begin(), listed.end(),
                   [](const auto& a, const auto& b) { return a.variable < b.variable; });
  listed.erase(std::unique(listed.begin(), listed.end(),
                           [](const auto& a, const auto& b) { return a.variable == b.variable; }),
               listed.end());
}

template <class List>
const typename List::value_type* listed_at(const List& list, const std::vector<PoolIndex::Listed>& listed,
                                           ProcessVariable wanted) {
  const auto found =
      std::lower_bound(listed.begin(), listed.end(), wanted,
                       [](const auto& entry, ProcessVariable value) { return entry.variable < value; });
  return found == listed.end() || found->variable != wanted || found->at >= list.size() ? nullptr
                                                                                        : &list[found->at];
}

bool is_blank(const std::string& text) {
  return trimmed(text).empty();
}

}  // namespace

std::string element_type_term(std::uint8_t type) {
  constexpr const char* kTerms[] = {
      "device", "function", "bin", "section", "unit", "connector", "navigation reference"};
  return type >= 1 && type <= std::size(kTerms) ? kTerms[type - 1] : fmt::format("element type {}", type);
}

void DevicePool::index_objects() {
  index = {};
  index.elements_by_number = ordered(elements, number_of);
  index.elements_by_id = ordered(elements, id_of);
  index.elements_by_parent = ordered(elements, parent_of);
  index.variables_by_id = ordered(variables, id_of);
  index.properties_by_id = ordered(properties, id_of);
  index.presentations_by_id = ordered(presentations, id_of);
  for (const ElementObject& element : elements) {
    if (element_by_number(element.number) != &element) continue;
    for (const std::uint16_t reference : element.references) {
      if (const VariableObject* listed = variable_by_id(reference))
        index.variables.push_back(
            {{element.number, listed->ddi}, static_cast<std::uint32_t>(listed - variables.data())});
      if (const PropertyObject* listed = property_by_id(reference))
        index.properties.push_back(
            {{element.number, listed->ddi}, static_cast<std::uint32_t>(listed - properties.data())});
    }
  }
  keep_first(index.variables);
  keep_first(index.properties);
}

void DevicePool::add_problem(PoolProblem problem) {
  if (problems.size() < kMaxPoolProblems)
    problems.push_back(std::move(problem));
  else
    ++problems_not_listed;
}

std::size_t DevicePool::objects() const {
  return (device ? 1u : 0u) + elements.size() + variables.size() + properties.size() + presentations.size();
}

const ElementObject* DevicePool::element_by_number(std::uint16_t number) const {
  return first_of(elements, index.elements_by_number, number_of, number);
}
const ElementObject* DevicePool::element_by_id(std::uint16_t id) const {
  return first_of(elements, index.elements_by_id, id_of, id);
}
const VariableObject* DevicePool::variable_by_id(std::uint16_t id) const {
  return first_of(variables, index.variables_by_id, id_of, id);
}
const PropertyObject* DevicePool::property_by_id(std::uint16_t id) const {
  return first_of(properties, index.properties_by_id, id_of, id);
}
const PresentationObject* DevicePool::presentation_by_id(std::uint16_t id) const {
  return id == kNullObject ? nullptr : first_of(presentations, index.presentations_by_id, id_of, id);
}

namespace {

/// What a list that was not indexed holds: by way of the element's references.
template <class Object, class Find>
const Object* listed_by(const ElementObject* element, std::uint16_t ddi, Find find) {
  if (element == nullptr) return nullptr;
  for (const std::uint16_t reference : element->references)
    if (const Object* object = find(reference); object != nullptr && object->ddi == ddi) return object;
  return nullptr;
}

}  // namespace

const VariableObject* DevicePool::variable(ProcessVariable wanted) const {
  if (index.elements_by_number.size() == elements.size() && index.variables_by_id.size() == variables.size())
    return listed_at(variables, index.variables, wanted);
  return listed_by<VariableObject>(element_by_number(wanted.element), wanted.ddi,
                                   [&](std::uint16_t id) { return variable_by_id(id); });
}

const PropertyObject* DevicePool::property(ProcessVariable wanted) const {
  if (index.elements_by_number.size() == elements.size() &&
      index.properties_by_id.size() == properties.size())
    return listed_at(properties, index.properties, wanted);
  return listed_by<PropertyObject>(element_by_number(wanted.element), wanted.ddi,
                                   [&](std::uint16_t id) { return property_by_id(id); });
}

const PresentationObject* DevicePool::presentation(ProcessVariable wanted) const {
  if (const VariableObject* object = variable(wanted)) return presentation_by_id(object->presentation);
  if (const PropertyObject* object = property(wanted)) return presentation_by_id(object->presentation);
  return nullptr;
}

std::vector<std::size_t> DevicePool::children_of(std::uint16_t parent_id) const {
  std::vector<std::size_t> children;
  const std::vector<std::uint32_t>& order = index.elements_by_parent;
  if (order.size() != elements.size()) {
    for (std::size_t i = 0; i < elements.size(); ++i)
      if (elements[i].parent == parent_id) children.push_back(i);
    return children;
  }
  auto at = std::lower_bound(order.begin(), order.end(), parent_id,
                             [&](std::uint32_t i, std::uint16_t id) { return elements[i].parent < id; });
  for (; at != order.end() && elements[*at].parent == parent_id; ++at) children.push_back(*at);
  return children;
}

std::string DevicePool::element_words(std::uint16_t number) const {
  const ElementObject* element = element_by_number(number);
  if (element == nullptr) return fmt::format("element {}", number);
  if (!is_blank(element->designator)) return element->designator;
  const bool known = element->type >= 1 && element->type <= 7;
  return fmt::format("{} {}", known ? element_type_term(element->type) : "element", number);
}

bool change_designator(DevicePool& pool, const DesignatorChange& change) {
  const auto rename = [&](auto& list, const auto* object) {
    if (object == nullptr) return false;
    list[static_cast<std::size_t>(object - list.data())].designator = change.designator;
    return true;
  };
  if (pool.device && pool.device->id == change.object) {
    pool.device->designator = change.designator;
    return true;
  }
  return rename(pool.elements, pool.element_by_id(change.object)) ||
         rename(pool.variables, pool.variable_by_id(change.object)) ||
         rename(pool.properties, pool.property_by_id(change.object));
}

std::string pool_words(const DevicePool& pool) {
  const auto counted = [](std::size_t count, const char* one, const char* many) {
    return fmt::format("{} {}", count, count == 1 ? one : many);
  };
  std::vector<std::string> kinds;
  const auto add = [&](std::size_t count, const char* one, const char* many) {
    if (count > 0) kinds.push_back(counted(count, one, many));
  };
  add(pool.device ? 1 : 0, "device", "devices");
  add(pool.elements.size(), "element", "elements");
  add(pool.variables.size(), "variable", "variables");
  add(pool.properties.size(), "property", "properties");
  add(pool.presentations.size(), "presentation", "presentations");
  if (kinds.empty()) kinds.emplace_back("no objects");
  std::string text = counted(pool.bytes, "byte", "bytes") + " with ";
  for (std::size_t i = 0; i < kinds.size(); ++i)
    text += (i == 0 ? "" : i + 1 < kinds.size() ? ", " : " and ") + kinds[i];
  if (pool.device && !is_blank(pool.device->designator))
    text += fmt::format(": \"{}\"", pool.device->designator);
  return text;
}

std::string problem_words(const PoolProblem& problem) {
  if (problem.object == kNullObject) return fmt::format("byte {}: {}", problem.offset, problem.what);
  return fmt::format("byte {}, object {}: {}", problem.offset, problem.object, problem.what);
}

namespace {

/// The float as its maker wrote it: 0.01f means 0.01, not 0.00999999977648.
double as_written(float scale) {
  char digits[32];
  const auto [end, fault] = std::to_chars(digits, digits + sizeof digits, scale);
  double value = scale;
  if (fault == std::errc{}) std::from_chars(digits, end, value);
  return value;
}

/// Halves away from zero at `decimals` places.
double rounded(double value, int decimals) {
  const double power = std::pow(10.0, decimals);
  double scaled = std::fabs(value) * power;
  constexpr double kAllDigits = 9007199254740992.0;  // 2^53: larger values have no fraction
  if (scaled >= kAllDigits) return value;
  // 1.005 is a hair less than it looks; two steps of the double's own resolution are more than products are
  // off.
  for (int i = 0; i < 2; ++i) scaled = std::nextafter(scaled, kAllDigits);
  const double result = std::floor(scaled + 0.5) / power;
  return value < 0 && result > 0 ? -result : result;  // never -0
}

}  // namespace

double presented_value(const PresentationObject& presentation, double raw) {
  return (raw + static_cast<double>(presentation.value_offset)) * as_written(presentation.scale);
}

std::string presented(const PresentationObject& presentation, std::int64_t raw) {
  if (!std::isfinite(presentation.scale)) return fmt::format("raw {}", raw);
  constexpr int kMaxDecimals = 7;
  const int decimals = std::min<int>(presentation.decimals, kMaxDecimals);
  const double value = rounded(presented_value(presentation, static_cast<double>(raw)), decimals);
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (!is_blank(presentation.unit)) text += " " + presentation.unit;
  return text;
}

}  // namespace tramlog
