// A device descriptor object pool: what an implement says it consists of (ISO 11783-10, DDOP; fact sheet,
// process data, 4). Plain data and its parser; a broken pool is read as far as it can be.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "isobus/name.hpp"
#include "isobus/process_data.hpp"

namespace tramlog {

inline constexpr std::uint16_t kNullObject = 0xFFFF;

enum class ElementType : std::uint8_t {
  device = 1,
  function = 2,
  bin = 3,
  section = 4,
  unit = 5,
  connector = 6,
  navigation_reference = 7,
};
/// "section", ..; "element type 9" for others.
std::string element_type_term(std::uint8_t type);

/// DVC (4.1).
struct DeviceObject {
  std::uint16_t id = 0;
  std::size_t offset = 0;                                   // of the object's first byte in the pool
  std::string designator, software_version, serial_number;  // printable UTF-8
  Name name;
  StructureLabel structure;  // with the extended label
  LocalizationLabel localization{};
  bool extended_form = false;  // version 4: carries the extended structure label
};
/// DET (4.3).
struct ElementObject {
  std::uint16_t id = 0;
  std::size_t offset = 0;
  std::uint8_t type = 0;
  std::string designator;
  std::uint16_t number = 0;               // 0..4095: what process data messages carry
  std::uint16_t parent = 0;               // object id
  std::vector<std::uint16_t> references;  // object ids of DPD and DPT, in the pool's order
};
/// DPD (4.4).
struct VariableObject {
  std::uint16_t id = 0;
  std::size_t offset = 0;
  std::uint16_t ddi = 0;
  std::uint8_t properties = 0;  // 1 default set, 2 settable, 4 control source
  std::uint8_t triggers = 0;    // 1 time, 2 distance, 4 threshold, 8 change, 10 total
  std::string designator;
  std::uint16_t presentation = kNullObject;
  bool settable() const { return (properties & 0x02) != 0; }
};
/// DPT (4.5).
struct PropertyObject {
  std::uint16_t id = 0;
  std::size_t offset = 0;
  std::uint16_t ddi = 0;
  std::int32_t value = 0;
  std::string designator;
  std::uint16_t presentation = kNullObject;
};
/// DVP (4.6): shown = round((raw + offset) x scale, decimals) and the unit's text.
struct PresentationObject {
  std::uint16_t id = 0;
  std::size_t offset = 0;
  std::int32_t value_offset = 0;
  float scale = 1;
  std::uint8_t decimals = 0;
  std::string unit;
};

struct PoolProblem {
  std::size_t offset = 0;              // byte of the pool
  std::uint16_t object = kNullObject;  // object concerned
  std::string what;                    // one sentence: what is wrong
  bool broken = false;                 // the bytes cannot be read on from here; else a rule is not kept
  bool of_absence = false;             // something is missing, which a further part of the pool may bring
  bool by_check = false;               // found by check_device_pool; else while reading
};

inline constexpr std::size_t kMaxPoolProblems = 200;
inline constexpr std::size_t kMaxPoolBytes = 1024 * 1024;

/// Positions in a pool's lists in the order in which the lookups need them. Made by
/// DevicePool::index_objects.
struct PoolIndex {
  std::vector<std::uint32_t> elements_by_number, elements_by_id, elements_by_parent;
  std::vector<std::uint32_t> variables_by_id, properties_by_id, presentations_by_id;
  struct Listed {
    ProcessVariable variable;
    std::uint32_t at = 0;  // in `variables` or `properties`
    auto operator<=>(const Listed&) const = default;
  };
  std::vector<Listed> variables, properties;  // what elements list, by element number and DDI
};

/// Lookups take O(log n). Of objects with the same id, of elements with the same number and of objects with
/// the same DDI in one element the first counts.
struct DevicePool {
  std::optional<DeviceObject> device;
  std::vector<ElementObject> elements;  // in the pool's order; so are the others
  std::vector<VariableObject> variables;
  std::vector<PropertyObject> properties;
  std::vector<PresentationObject> presentations;
  std::vector<PoolProblem> problems;  // at most kMaxPoolProblems
  std::size_t problems_not_listed = 0;
  std::size_t check_problems_not_listed = 0;  // those of them that check_device_pool found
  std::size_t bytes = 0;                      // of the pool
  std::size_t bytes_read = 0;                 // that belong to objects which could be read
  PoolIndex index;                            // of the lists above

  /// Must follow each change of the lists that is made by hand; the functions below do it themselves.
  void index_objects();
  /// Kept, or only counted when there are too many.
  void add_problem(PoolProblem problem);

  bool empty() const { return !device && elements.empty() && variables.empty() && properties.empty(); }
  std::size_t objects() const;
  const ElementObject* element_by_number(std::uint16_t number) const;
  const ElementObject* element_by_id(std::uint16_t id) const;
  const VariableObject* variable_by_id(std::uint16_t id) const;
  const PropertyObject* property_by_id(std::uint16_t id) const;
  const PresentationObject* presentation_by_id(std::uint16_t id) const;
  /// The DPD or DPT of that DDI which the element of that number lists; null if there is none.
  const VariableObject* variable(ProcessVariable wanted) const;
  const PropertyObject* property(ProcessVariable wanted) const;
  /// Of either; null if none.
  const PresentationObject* presentation(ProcessVariable wanted) const;
  /// Elements whose parent is this object, in the pool's order (indexes into `elements`).
  std::vector<std::size_t> children_of(std::uint16_t parent_id) const;
  /// "seed bin", its type and number if it has no designator ("section 4"); "element 12" if not in the pool.
  std::string element_words(std::uint16_t number) const;
};

/// Reads objects back to back until the end or until the bytes make no sense; then it searches on for the
/// next object that can be read whole (its three letters, plausible lengths) and says what was skipped.
/// `version_4`: both partners speak version 4 or newer; none: told by the byte behind the localization label
/// (4.1).
DevicePool parse_device_pool(Bytes bytes, std::optional<bool> version_4 = std::nullopt);

/// The rules of 4.8 points 1, 2, 4 and 6 and what is wrong with references, element types and parents (loops
/// too): appended to `problems` with the object's place; what an earlier check found is dropped. `claimed`:
/// the NAME in the sender's address claim.
void check_device_pool(DevicePool& pool, std::optional<Name> claimed);

/// An update of an active pool (3.3): a part that holds only DVC and DVP replaces those of the same id; any
/// other part is added as further objects, and of a repeated id the later one counts. Offsets of the part go
/// on behind those of the pool. A part with which the pool would hold more than kMaxPoolBytes is left out and
/// told as a problem.
void merge_device_pool(DevicePool& pool, const DevicePool& part);
/// C1: changes the designator of that object; false if there is none.
bool change_designator(DevicePool& pool, const DesignatorChange& change);

/// "2310 bytes with 1 device, 34 elements, 60 variables, 12 properties and 9 presentations: \"Drill 9 m\"".
std::string pool_words(const DevicePool& pool);
/// "byte 340, object 12: names object 99 as its parent, which is not in the pool".
std::string problem_words(const PoolProblem& problem);

/// (raw + offset) x scale with `decimals` places (at most 7), halves rounded away from zero, and unit: "181.3
/// kg/ha"; "raw 1813" if the scale is no number.
std::string presented(const PresentationObject& presentation, std::int64_t raw);
/// The number of it, not rounded; not finite if the scale is not.
double presented_value(const PresentationObject& presentation, double raw);

}  // namespace tramlog
