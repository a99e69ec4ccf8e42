#include "report/device_tree.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.hpp"
#include "implement/device.hpp"

namespace tramlog {
namespace {

class Tree {
 public:
  Tree(const ImplementRecord& implement, const Schema& schema) : implement_(implement), schema_(schema) {}

  std::vector<TreeElement> take(std::optional<std::uint16_t> below) {
    const DevicePool& pool = implement_.pool;
    if (below) {
      if (const ElementObject* start = pool.element_by_number(*below))
        walk(*start, 0);
      else
        add_unlisted(*below, below);
      return std::move(out_);
    }
    // Roots: the device element, and whatever hangs on nothing.
    std::vector<const ElementObject*> roots;
    for (const ElementObject& element : pool.elements)
      if (pool.element_by_id(element.parent) == nullptr || element.parent == element.id) roots.push_back(&element);
    sort(roots);
    for (const ElementObject* root : roots) walk(*root, 0);
    // A loop of parents has no root.
    for (const ElementObject& element : pool.elements) walk(element, 0);
    for (const LastValue& value : implement_.values) add_unlisted(value.variable.element, std::nullopt);
    return std::move(out_);
  }

 private:
  static void sort(std::vector<const ElementObject*>& elements) {
    std::stable_sort(elements.begin(), elements.end(),
                     [](const ElementObject* a, const ElementObject* b) { return a->number < b->number; });
  }

  // Without recursion: a hostile description nests thousands of elements.
  void walk(const ElementObject& start, unsigned depth) {
    std::vector<std::pair<const ElementObject*, unsigned>> stack = {{&start, depth}};
    while (!stack.empty()) {
      const auto [element, level] = stack.back();
      stack.pop_back();
      if (!seen_.insert(element).second) continue;
      add(*element, level);
      std::vector<const ElementObject*> children;
      for (const std::size_t child : implement_.pool.children_of(element->id))
        children.push_back(&implement_.pool.elements[child]);
      sort(children);
      for (auto child = children.rbegin(); child != children.rend(); ++child) stack.emplace_back(*child, level + 1);
    }
  }

  const LastValue* last(ProcessVariable variable) const {
    const auto& values = implement_.values;
    const auto found = std::lower_bound(values.begin(), values.end(), variable,
                                        [](const LastValue& value, ProcessVariable v) { return value.variable < v; });
    return found != values.end() && found->variable == variable ? &*found : nullptr;
  }

  std::string name_of(std::uint16_t ddi, const std::string& designator) const {
    if (!designator.empty()) return designator;
    const DictionaryEntry* entry = schema_.dictionary().find(ddi);
    return entry == nullptr ? fmt::format("DDI {}", ddi) : printable_utf8(entry->name);
  }

  void fill(TreeValue& value, ProcessVariable variable) const {
    value.value = last(variable);
    if (value.value == nullptr) return;
    value.shown = value_words(schema_, implement_.pool, variable, value.value->raw);
    if (value.value->set_raw) value.set_shown = value_words(schema_, implement_.pool, variable, *value.value->set_raw);
  }

  void add(const ElementObject& element, unsigned depth) {
    TreeElement made;
    made.number = element.number;
    made.object = &element;
    made.depth = depth;
    for (const std::uint16_t id : element.references) {
      TreeValue value;
      if (const VariableObject* variable = implement_.pool.variable_by_id(id)) {
        value.variable = variable;
        value.ddi = variable->ddi;
        value.name = name_of(variable->ddi, variable->designator);
        fill(value, {element.number, variable->ddi});
      } else if (const PropertyObject* property = implement_.pool.property_by_id(id)) {
        value.property = property;
        value.ddi = property->ddi;
        value.name = name_of(property->ddi, property->designator);
        fill(value, {element.number, property->ddi});
        value.shown = value_words(schema_, implement_.pool, {element.number, property->ddi},
                                  signed_raw(schema_, property->ddi, static_cast<std::uint32_t>(property->value)));
      } else {
        continue;  // a missing object is among the description's problems
      }
      made.values.push_back(std::move(value));
    }
    // Told on the bus, but not in the description: at the first of elements that share a number, else a hostile
    // description would multiply them.
    const bool first = numbers_.insert(element.number).second;
    for (const LastValue& told : implement_.values) {
      if (!first || told.variable.element != element.number) continue;
      const auto listed = [&](const TreeValue& value) { return value.ddi == told.variable.ddi; };
      if (std::any_of(made.values.begin(), made.values.end(), listed)) continue;
      TreeValue value;
      value.ddi = told.variable.ddi;
      value.name = name_of(value.ddi, {});
      fill(value, told.variable);
      made.values.push_back(std::move(value));
    }
    std::stable_sort(made.values.begin(), made.values.end(),
                     [](const TreeValue& a, const TreeValue& b) { return a.ddi < b.ddi; });
    out_.push_back(std::move(made));
  }

  void add_unlisted(std::uint16_t number, std::optional<std::uint16_t> only) {
    if (!numbers_.insert(number).second) return;
    TreeElement made;
    made.number = number;
    for (const LastValue& told : implement_.values) {
      if (told.variable.element != number) continue;
      TreeValue value;
      value.ddi = told.variable.ddi;
      value.name = name_of(value.ddi, {});
      fill(value, told.variable);
      made.values.push_back(std::move(value));
    }
    if (!only || !made.values.empty()) out_.push_back(std::move(made));
  }

  const ImplementRecord& implement_;
  const Schema& schema_;
  std::set<const ElementObject*> seen_;
  std::set<std::uint16_t> numbers_;
  std::vector<TreeElement> out_;
};

}  // namespace

std::vector<TreeElement> device_tree(const ImplementRecord& implement, const Schema& schema,
                                     std::optional<std::uint16_t> below) {
  return Tree(implement, schema).take(below);
}

std::string trigger_words(std::uint8_t triggers) {
  constexpr std::pair<std::uint8_t, const char*> kWords[] = {
      {0x01, "time interval"}, {0x02, "distance interval"}, {0x04, "threshold"}, {0x08, "on change"}, {0x10, "total"}};
  std::string words;
  for (const auto& [bit, word] : kWords)
    if (triggers & bit) words += fmt::format("{}{}", words.empty() ? "" : ", ", word);
  return words;
}

}  // namespace tramlog
