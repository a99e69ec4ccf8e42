// Device descriptor object pools and the messages about them. B1 says how the rest is taken: bits 1-0 the
// version that is told (none, before 4, 4), bit 2 that the second half is a further part, bits 7-3 where the
// first half ends.
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <string>

#include "base/utf8.hpp"
#include "isobus/device_pool.hpp"
#include "isobus/process_data.hpp"

using namespace tramlog;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

/// Safe to print: valid UTF-8 without control characters.
void require_printable(const std::string& text) {
  for (std::size_t at = 0; at < text.size();) {
    const CodePoint c = decode_utf8(text, at);
    require(c.valid && c.value >= 0x20 && !(c.value >= 0x7F && c.value < 0xA0));
    at += c.length;
  }
}

void use_presentation(const PresentationObject& presentation, std::int64_t raw) {
  const std::string shown = presented(presentation, raw);
  require_printable(shown);
  require(!shown.empty() && shown.size() < 2000);
  require(shown.rfind("-0", 0) != 0 || shown.find_first_of("123456789") != std::string::npos);
}

/// What every pool keeps, whatever bytes it was made of.
void use(const DevicePool& pool) {
  require(pool.problems.size() <= kMaxPoolProblems);
  require(pool.bytes_read <= pool.bytes);
  require(pool.bytes_read == pool.bytes || !pool.problems.empty());
  require(!pool.device || pool.device->structure.bytes.size() <= 39);
  require_printable(pool_words(pool));
  for (const PoolProblem& problem : pool.problems) {
    require(problem.offset <= pool.bytes);
    require_printable(problem_words(problem));
  }
  std::size_t children = 0;
  for (const ElementObject& element : pool.elements) {
    require_printable(element.designator);
    require_printable(pool.element_words(element.number));
    require(pool.element_by_id(element.id) != nullptr && pool.element_by_number(element.number) != nullptr);
    for (const std::uint16_t reference : element.references) {
      const ElementObject* first = pool.element_by_number(element.number);
      if (const VariableObject* listed = pool.variable_by_id(reference);
          listed != nullptr && first == &element)
        require(pool.variable({element.number, listed->ddi}) != nullptr);
      if (const PropertyObject* listed = pool.property_by_id(reference);
          listed != nullptr && first == &element)
        require(pool.property({element.number, listed->ddi}) != nullptr);
    }
    // Each element is the child of one object: asking all parents that occur finds all elements.
    bool first_with_parent = true;
    for (const std::size_t child : pool.children_of(element.parent)) {
      require(pool.elements[child].parent == element.parent);
      if (first_with_parent && &pool.elements[child] == &element)
        children += pool.children_of(element.parent).size();
      first_with_parent = false;
    }
  }
  require(children == pool.elements.size());
  for (const VariableObject& variable : pool.variables) {
    require_printable(variable.designator);
    require(pool.variable_by_id(variable.id) != nullptr);
  }
  for (const PropertyObject& property : pool.properties) {
    require_printable(property.designator);
    if (const PresentationObject* shown = pool.presentation_by_id(property.presentation))
      use_presentation(*shown, property.value);
  }
  for (const PresentationObject& presentation : pool.presentations)
    for (const std::int64_t raw : {std::int64_t{0}, std::int64_t{-1}, std::int64_t{125},
                                   std::int64_t{INT32_MIN}, std::int64_t{UINT32_MAX}, INT64_MAX, INT64_MIN})
      use_presentation(presentation, raw);
}

void messages(Bytes data) {
  if (const auto message = parse_process_message(data)) {
    require(message->variable.element <= kNoElement);
    require(command_term(message->command) != nullptr);
  }
  if (const auto ack = parse_process_acknowledgement(data)) require_printable(refusal_words(ack->errors));
  if (const auto version = parse_process_version(data))
    require_printable(option_words(version->options) + version_words(version->version));
  if (const auto label = parse_structure_label(data)) {
    require(label->bytes.size() >= 7 && label->bytes.size() <= 39);
    require_printable(label_words(*label));
  }
  if (const auto response = parse_activation_response(data))
    require(activation_words(*response).empty() == (response->errors == 0));
  if (const auto change = parse_designator_change(data)) require_printable(change->designator);
  parse_localization_label(data);
  parse_task_controller_status(data);
  parse_client_task(data);
  parse_transfer_response(data);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::uint8_t how = data[0];
  const Bytes rest(data + 1, size - 1);
  messages(rest);
  std::optional<bool> version_4;
  if ((how & 3) != 0) version_4 = (how & 3) > 1;
  const bool two_parts = (how & 4) != 0;
  const std::size_t first = two_parts ? rest.size() * (how >> 3) / 32 : rest.size();
  DevicePool pool = parse_device_pool(rest.first(first), version_4);
  use(pool);
  check_device_pool(pool, Name(how));
  use(pool);
  if (two_parts) {
    const DevicePool part = parse_device_pool(rest.subspan(first), version_4);
    merge_device_pool(pool, part);
    use(pool);
    check_device_pool(pool, std::nullopt);
    use(pool);
  }
  const std::size_t objects = pool.objects();
  for (unsigned id = 0; id < 4; ++id) change_designator(pool, {static_cast<std::uint16_t>(id), "changed"});
  require(pool.objects() == objects);
  use(pool);
  return 0;
}
