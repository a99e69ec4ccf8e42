// One implement's elements in the order in which people read them, each with what belongs to it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "implement/records.hpp"
#include "schema/schema.hpp"

namespace tramlog {

/// A variable or property of an element, with its latest value.
struct TreeValue {
  std::uint16_t ddi = 0;
  std::string name;                           // the designator, else the dictionary's name, else "DDI 12345"
  const VariableObject* variable = nullptr;   // DPD
  const PropertyObject* property = nullptr;   // DPT
  const LastValue* value = nullptr;           // null: never told and never set
  std::string shown;                          // the value, or the property's; empty: none
  std::string set_shown;                      // what a task controller wrote; empty: nothing
};
struct TreeElement {
  std::uint16_t number = 0;
  const ElementObject* object = nullptr;  // null: known by its number only
  unsigned depth = 0;
  std::vector<TreeValue> values;          // by DDI
};

/// Depth first; children by element number. Elements that only values tell of come last. `below`: only this element and what is below it.
std::vector<TreeElement> device_tree(const ImplementRecord& implement, const Schema& schema,
                                     std::optional<std::uint16_t> below = std::nullopt);

/// "time interval, on change".
std::string trigger_words(std::uint8_t triggers);

}  // namespace tramlog
