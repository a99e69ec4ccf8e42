#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <type_traits>
#include <vector>

#include "isobus/device_pool.hpp"

namespace tramlog {
namespace {

enum class Class : std::uint8_t { device, element, variable, property, presentation };
constexpr const char* kClassWords[] = {"device object (DVC)", "element (DET)", "variable (DPD)",
                                       "property (DPT)", "presentation (DVP)"};
constexpr std::uint16_t kMaxElementNumber = 4095;
constexpr std::uint16_t kPrescriptionControl = 158, kSectionControl = 160;  // DDIs, fact sheet 5.2
constexpr std::uint8_t kSettable = 0x02, kControlSource = 0x04, kOnChange = 0x08;
constexpr float kLeastScale = 1e-9f, kGreatestScale = 1e8f;  // 4.6
constexpr std::uint8_t kMaxDecimals = 7;

const char* class_words(Class c) {
  return kClassWords[static_cast<std::size_t>(c)];
}
std::string one_of(Class c) {
  return std::string(c == Class::element ? "an " : "a ") + class_words(c);
}

/// An object by its id.
struct Entry {
  std::uint16_t id = 0;
  Class what = Class::device;
  std::uint32_t at = 0;  // in its list
  std::size_t offset = 0;
};

class Checker {
 public:
  Checker(DevicePool& pool, std::optional<Name> claimed) : pool_(pool), claimed_(claimed) {}

  void run() {
    fill_ids();
    check_device();
    check_elements();
    check_parents();
    check_references();
    check_variables();
    for (const PropertyObject& property : pool_.properties) check_presentation_of(property);
    check_presentations();
  }

 private:
  template <class Object>
  void tell(const Object& object, std::string what) {
    add({object.offset, object.id, std::move(what)});
  }
  /// Something that a further part of the pool may bring. `relation`: "names object 7 as its parent".
  template <class Object>
  void tell_absent(const Object& object, std::string relation) {
    PoolProblem problem{object.offset, object.id, std::move(relation) + ", which is not in the pool"};
    problem.of_absence = true;
    add(std::move(problem));
  }
  void tell_absent(std::string what) {
    PoolProblem problem{0, kNullObject, std::move(what)};
    problem.of_absence = true;
    add(std::move(problem));
  }
  void add(PoolProblem problem) {
    problem.by_check = true;
    pool_.add_problem(std::move(problem));
  }

  /// Null if no object has that id.
  const Entry* find(std::uint16_t id) const {
    const auto found =
        std::lower_bound(ids_.begin(), ids_.end(), id,
                         [](const Entry& entry, std::uint16_t value) { return entry.id < value; });
    return found == ids_.end() || found->id != id ? nullptr : &*found;
  }

  void fill_ids() {
    std::vector<Entry> entries;
    entries.reserve(pool_.objects());
    const auto list = [&](const auto& objects, Class what) {
      for (std::size_t i = 0; i < objects.size(); ++i)
        entries.push_back({objects[i].id, what, static_cast<std::uint32_t>(i), objects[i].offset});
    };
    if (pool_.device) entries.push_back({pool_.device->id, Class::device, 0, pool_.device->offset});
    list(pool_.elements, Class::element);
    list(pool_.variables, Class::variable);
    list(pool_.properties, Class::property);
    list(pool_.presentations, Class::presentation);
    std::stable_sort(entries.begin(), entries.end(), [](const Entry& a, const Entry& b) {
      return a.id != b.id ? a.id < b.id : a.offset < b.offset;
    });
    for (const Entry& entry : entries) {
      if (!ids_.empty() && ids_.back().id == entry.id)
        tell(entry, fmt::format("this {} has the id of the {} at byte {}; ids must be unique",
                                class_words(entry.what), class_words(ids_.back().what), ids_.back().offset));
      else
        ids_.push_back(entry);
      if (entry.id == kNullObject)
        tell(entry, fmt::format("this {} has the id 65535, which means \"none\" and cannot be referred to",
                                class_words(entry.what)));
      else if (entry.id == 0 && entry.what != Class::device)
        tell(entry, fmt::format("this {} has the id 0, which belongs to the device object (DVC)",
                                class_words(entry.what)));
    }
  }

  void check_device() {
    if (!pool_.device) {
      tell_absent("the pool has no device object (DVC)");
      return;
    }
    const DeviceObject& device = *pool_.device;
    if (device.id != 0) tell(device, fmt::format("the device object (DVC) has the id {}, not 0", device.id));
    if (claimed_ && *claimed_ != device.name)
      tell(device,
           fmt::format("the NAME in the device object (DVC) is {}, but the sender's address claim says {}",
                       device.name.hex(), claimed_->hex()));
    // None of the structure label's bytes may be FF: that means "none" or "the latest" (4.1, 3.1).
    if (std::find(device.structure.bytes.begin(), device.structure.bytes.end(), 0xFF) !=
        device.structure.bytes.end())
      tell(device, "the structure label holds a byte FF, which a label must not");
    // Six bytes of the language command, whose first two are letters, and FF (4.1).
    const LocalizationLabel& localization = device.localization;
    if (localization[0] == 0xFF || localization[1] == 0xFF)
      tell(device, "the localization label names no language: its first two bytes must be letters");
    if (localization[6] != 0xFF)
      tell(device, fmt::format("the last byte of the localization label is {:02X}, not FF", localization[6]));
  }

  void check_elements() {
    std::vector<const ElementObject*> by_number(std::size_t{kMaxElementNumber} + 1, nullptr);
    const ElementObject* device_element = nullptr;
    for (const ElementObject& element : pool_.elements) {
      if (element.number > kMaxElementNumber) {
        tell(element, fmt::format("the element number is {}; process data messages carry 0 to {}",
                                  element.number, kMaxElementNumber));
      } else if (const ElementObject*& first = by_number[element.number]; first != nullptr) {
        tell(element,
             fmt::format("the element number {} is that of object {} too", element.number, first->id));
      } else {
        first = &element;
      }
      if (element.type < 1 || element.type > 7)
        tell(element, fmt::format("the element type is {}; there are 1 to 7", element.type));
      if (element.type != static_cast<std::uint8_t>(ElementType::device)) continue;
      if (device_element != nullptr) {
        tell(element,
             fmt::format(
                 "this is a further device element (type 1), though a pool holds one only; object {} is the "
                 "first",
                 device_element->id));
        continue;
      }
      device_element = &element;
      if (element.number != 0)
        tell(element, fmt::format("the device element (type 1) has the number {}, not 0", element.number));
    }
    if (device_element == nullptr) tell_absent("the pool has no device element (DET of type 1)");
  }

  void check_parents() {
    for (const ElementObject& element : pool_.elements) {
      const Entry* parent = find(element.parent);
      const bool is_device_element = element.type == static_cast<std::uint8_t>(ElementType::device);
      if (parent == nullptr)
        tell_absent(element, fmt::format("names object {} as its parent", element.parent));
      else if (parent->what != Class::device && parent->what != Class::element)
        tell(element,
             fmt::format("names object {} as its parent, which is {}", element.parent, one_of(parent->what)));
      else if (is_device_element && parent->what != Class::device)
        tell(
            element,
            fmt::format("the parent of the device element (type 1) is object {}, not the device object (DVC)",
                        element.parent));
    }
    find_loops();
  }

  /// Climbs from each element until something known is met: each is passed once.
  void find_loops() {
    constexpr std::uint32_t kNotSeen = 0;
    std::vector<std::uint32_t> walk_of(pool_.elements.size(), kNotSeen);
    for (std::uint32_t start = 0; start < pool_.elements.size(); ++start) {
      const std::uint32_t walk = start + 1;
      std::uint32_t at = start;
      while (walk_of[at] == kNotSeen) {
        walk_of[at] = walk;
        const Entry* parent = find(pool_.elements[at].parent);
        if (parent == nullptr || parent->what != Class::element) break;
        at = parent->at;
        if (walk_of[at] == walk) tell_loop(at);
      }
    }
  }

  void tell_loop(std::uint32_t start) {
    constexpr std::size_t kShown = 8;
    std::string chain = fmt::format("{}", pool_.elements[start].id);
    std::size_t length = 0;
    std::uint32_t at = start;
    do {
      at = find(pool_.elements[at].parent)->at;
      if (++length < kShown || at == start)
        chain += fmt::format(" -> {}", pool_.elements[at].id);
      else if (length == kShown)
        chain += " -> ..";
    } while (at != start);
    tell(pool_.elements[start], fmt::format("the parents go round in a loop: object {}", chain));
  }

  void check_references() {
    struct Listed {
      std::uint16_t ddi;
      bool is_variable;
      std::uint16_t id;
    };
    std::vector<Listed> listed;
    for (const ElementObject& element : pool_.elements) {
      listed.clear();
      for (const std::uint16_t reference : element.references) {
        const Entry* object = find(reference);
        if (object == nullptr)
          tell_absent(element, fmt::format("lists object {}", reference));
        else if (object->what == Class::variable)
          listed.push_back({pool_.variables[object->at].ddi, true, reference});
        else if (object->what == Class::property)
          listed.push_back({pool_.properties[object->at].ddi, false, reference});
        else
          tell(element, fmt::format("lists object {}, which is {}, not a variable or property", reference,
                                    one_of(object->what)));
      }
      std::stable_sort(listed.begin(), listed.end(), [](const Listed& a, const Listed& b) {
        return a.ddi != b.ddi ? a.ddi < b.ddi : a.is_variable < b.is_variable;
      });
      // Of each DDI the properties stand before the variables: at most one place where they meet.
      for (std::size_t i = 1; i < listed.size(); ++i)
        if (listed[i].ddi == listed[i - 1].ddi && listed[i].is_variable != listed[i - 1].is_variable)
          tell(element,
               fmt::format("lists DDI {} both as a variable (object {}) and as a property (object {})",
                           listed[i].ddi, listed[i].id, listed[i - 1].id));
    }
  }

  template <class Object>
  void check_presentation_of(const Object& object) {
    if (object.presentation != kNullObject) {
      const Entry* found = find(object.presentation);
      if (found == nullptr)
        tell_absent(object, fmt::format("names object {} as its presentation", object.presentation));
      else if (found->what != Class::presentation)
        tell(object, fmt::format("names object {} as its presentation, which is {}", object.presentation,
                                 one_of(found->what)));
    }
    if constexpr (std::is_same_v<Object, PropertyObject>)
      if (const char* control = control_words(object.ddi))
        tell(object,
             fmt::format("DDI {} ({}) is a property (DPT), so it cannot be switched; it must be a variable "
                         "(DPD)",
                         object.ddi, control));
  }

  static const char* control_words(std::uint16_t ddi) {
    if (ddi == kSectionControl) return "section control state";
    return ddi == kPrescriptionControl ? "prescription control state" : nullptr;
  }

  void check_variables() {
    for (const VariableObject& variable : pool_.variables) {
      check_presentation_of(variable);
      if ((variable.properties & kSettable) != 0 && (variable.properties & kControlSource) != 0)
        tell(variable, "is both settable and a control source, which exclude each other");
      const char* control = control_words(variable.ddi);
      if (control == nullptr) continue;
      if (!variable.settable())
        tell(variable, fmt::format("DDI {} ({}) is not settable, so a task controller cannot switch it on",
                                   variable.ddi, control));
      if ((variable.triggers & kOnChange) == 0)
        tell(variable,
             fmt::format("DDI {} ({}) cannot be sent on change, so a task controller learns of it late",
                         variable.ddi, control));
    }
  }

  void check_presentations() {
    for (const PresentationObject& presentation : pool_.presentations) {
      if (presentation.decimals > kMaxDecimals)
        tell(presentation, fmt::format("asks for {} decimal places; at most {} are allowed",
                                       presentation.decimals, kMaxDecimals));
      // Written so that a scale that is no number fails too.
      if (!(presentation.scale >= kLeastScale && presentation.scale <= kGreatestScale))
        tell(presentation,
             fmt::format("the scale {} is outside 0.000000001 to 100000000",
                         std::isnan(presentation.scale) ? "\"not a number\""
                                                        : fmt::format("{}", presentation.scale)));
    }
  }

  DevicePool& pool_;
  std::optional<Name> claimed_;
  std::vector<Entry> ids_;  // the first of each id, by id
};

}  // namespace

void check_device_pool(DevicePool& pool, std::optional<Name> claimed) {
  std::erase_if(pool.problems, [](const PoolProblem& problem) { return problem.by_check; });
  pool.problems_not_listed -= std::min(pool.problems_not_listed, pool.check_problems_not_listed);
  const std::size_t before = pool.problems_not_listed;
  Checker(pool, claimed).run();
  pool.check_problems_not_listed = pool.problems_not_listed - before;
}

}  // namespace tramlog
