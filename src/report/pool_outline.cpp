#include "report/pool_outline.hpp"

#include <fmt/format.h>

#include "base/digest.hpp"
#include "report/device_tree.hpp"

namespace tramlog {

PoolOutline pool_outline(const DevicePool& pool) {
  PoolOutline outline;
  Digest digest;
  const auto tell = [&](std::string line) {
    digest.add(line);
    digest.add("\n");
    if (outline.lines.size() < kMaxOutline)
      outline.lines.push_back(std::move(line));
    else
      ++outline.not_listed;
  };
  for (const ElementObject& element : pool.elements) {
    const ElementObject* parent = pool.element_by_id(element.parent);
    tell(fmt::format("element {} \"{}\": {}{}", element.number, element.designator,
                     element_type_term(element.type),
                     parent != nullptr ? fmt::format(" in element {}", parent->number) : ""));
    for (const std::uint16_t id : element.references) {
      if (const VariableObject* variable = pool.variable_by_id(id)) {
        const std::string triggers = trigger_words(variable->triggers);
        tell(fmt::format("element {} DDI {}: variable{}{}{}", element.number, variable->ddi,
                         variable->settable() ? ", settable" : "", triggers.empty() ? "" : ", ", triggers));
      } else if (const PropertyObject* property = pool.property_by_id(id)) {
        tell(fmt::format("element {} DDI {}: property {}", element.number, property->ddi, property->value));
      }
    }
  }
  outline.digest = digest.hex();
  return outline;
}

}  // namespace tramlog
