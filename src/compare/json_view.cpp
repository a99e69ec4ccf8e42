#include "compare/json_view.hpp"

#include <cmath>

namespace tramlog {
namespace {

std::string bounded(const JsonDoc& value) {
  const auto& text = value.get_ref<const std::string&>();
  return text.size() <= kLongestText ? text : text.substr(0, kLongestText) + " ..";
}

}  // namespace

const JsonDoc& member_of(const JsonDoc& object, const char* key) {
  static const JsonDoc none;
  if (!object.is_object()) return none;
  const auto found = object.find(key);
  return found == object.end() ? none : *found;
}

const JsonDoc& list_of(const JsonDoc& object, const char* key) {
  static const JsonDoc none = JsonDoc::array();
  const JsonDoc& found = member_of(object, key);
  return found.is_array() ? found : none;
}

std::string text_of(const JsonDoc& object, const char* key) {
  const JsonDoc& found = member_of(object, key);
  return found.is_string() ? bounded(found) : std::string();
}

std::optional<double> number_of(const JsonDoc& object, const char* key) {
  const JsonDoc& found = member_of(object, key);
  if (!found.is_number()) return std::nullopt;
  const double value = found.get<double>();
  return std::isfinite(value) ? std::optional(value) : std::nullopt;
}

double number_or(const JsonDoc& object, const char* key, double otherwise) {
  return number_of(object, key).value_or(otherwise);
}

bool flag_of(const JsonDoc& object, const char* key) {
  const JsonDoc& found = member_of(object, key);
  return found.is_boolean() && found.get<bool>();
}

std::vector<std::string> texts_of(const JsonDoc& object, const char* key) {
  std::vector<std::string> texts;
  for (const JsonDoc& one : list_of(object, key))
    if (one.is_string()) texts.push_back(bounded(one));
  return texts;
}

}  // namespace tramlog
