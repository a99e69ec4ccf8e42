#include "implement/device.hpp"

#include <fmt/format.h>

#include "base/decimal.hpp"
#include "base/text.hpp"
#include "implement/section_states.hpp"
#include "implement/variable_words.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kWorkState = 141;

bool holds_a_section_that_is_on(std::int64_t condensed) {
  for (unsigned i = 0; i < 16; ++i)
    if ((condensed >> (2 * i) & 3) == 1) return true;
  return false;
}

}  // namespace

std::int64_t signed_raw(const Schema& schema, std::uint16_t ddi, std::uint32_t raw) {
  const DictionaryEntry* entry = schema.dictionary().find(ddi);
  if (entry != nullptr && entry->is_unsigned) return raw;
  return static_cast<std::int32_t>(raw);
}

std::optional<std::int64_t> Device::value_of(ProcessVariable variable) const {
  if (const PropertyObject* property = pool.property(variable))
    return signed_raw(schema, variable.ddi, static_cast<std::uint32_t>(property->value));
  return values.latest(variable);
}

const Device::States& Device::states() const {
  if (states_at_ == values.state_changes() && states_elements_ == pool.elements.size()) return states_;
  states_at_ = values.state_changes();
  states_elements_ = pool.elements.size();
  states_ = {};
  // Master states: the device element's off overrides all; functions are booms. Without a description only element 0 is
  // known for what it is.
  std::optional<bool> root, functions, others;
  const auto note = [](std::optional<bool>& state, bool on) { state = state.value_or(false) || on; };
  for (const auto& [variable, entry] : values.all()) {
    if (!entry.told) continue;
    const std::int64_t raw = entry.told->raw;
    const auto block = condensed_block(variable.ddi);
    if (block && block->kind == CondensedKind::actual) note(states_.section, holds_a_section_that_is_on(raw));
    if (variable.ddi != kWorkState || raw < 0 || raw > 1) continue;
    const ElementObject* element = pool.element_by_number(variable.element);
    const auto type = element == nullptr ? std::uint8_t{0} : element->type;
    if (type == static_cast<std::uint8_t>(ElementType::section)) {
      note(states_.section, raw == 1);
    } else if (type == static_cast<std::uint8_t>(ElementType::device) ||
               (type == 0 && variable.element == 0)) {
      note(root, raw == 1);
    } else if (type == static_cast<std::uint8_t>(ElementType::function)) {
      note(functions, raw == 1);
    } else {
      note(others, raw == 1);
    }
  }
  if (root && !*root)
    states_.work = false;
  else if (functions)
    states_.work = functions;
  else if (root)
    states_.work = root;
  else if (others)
    states_.work = others;
  else
    states_.work = states_.section;
  return states_;
}

std::optional<bool> Device::work_state() const {
  return states().work;
}

std::optional<bool> Device::any_section_on() const {
  return states().section;
}

std::optional<bool> Device::working() const {
  const States& now_on = states();
  if (!now_on.work && !now_on.section) return std::nullopt;
  if (!now_on.work.value_or(true) || !now_on.section.value_or(true)) return false;
  const std::optional<double> speed = machine.speed_mm_s(now);
  if (!speed) return std::nullopt;
  return *speed >= limits["speed.working_mm_s"];
}

std::string Device::words(std::uint16_t element) const {
  if (pool.element_by_number(element) == nullptr) return fmt::format("element {}", element);
  const std::string own = pool.element_words(element);
  const std::string number = fmt::format("element {}", element);
  return own == number ? own : own + ", " + number;
}

std::string Device::unit_of(std::uint16_t ddi) const {
  const DictionaryEntry* entry = schema.dictionary().find(ddi);
  if (entry == nullptr || entry->unit == "n/a") return {};
  return entry->unit == "#" ? "pieces" : printable_utf8(entry->unit);
}

double Device::in_units(std::uint16_t ddi, double raw) const {
  const DictionaryEntry* entry = schema.dictionary().find(ddi);
  return entry == nullptr ? raw : raw * entry->resolution.to_double();
}

std::string Device::value_words(ProcessVariable variable, std::int64_t raw) const {
  return tramlog::value_words(schema, pool, variable, raw);
}

std::string value_words(const Schema& schema, const DevicePool& pool, ProcessVariable variable, std::int64_t raw) {
  if (const PresentationObject* presentation = pool.presentation(variable)) return presented(*presentation, raw);
  return value_words(schema, variable.ddi, static_cast<std::uint32_t>(raw));
}

}  // namespace tramlog
