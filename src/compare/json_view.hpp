// Looking into a document that anybody may have written: what is missing or of another type is an empty
// value.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

namespace tramlog {

using JsonDoc = nlohmann::json;

/// Null if there is none.
const JsonDoc& member_of(const JsonDoc& object, const char* key);
/// An array, else an empty one.
const JsonDoc& list_of(const JsonDoc& object, const char* key);
/// At most kLongestText bytes of it.
std::string text_of(const JsonDoc& object, const char* key);
/// Finite numbers only.
std::optional<double> number_of(const JsonDoc& object, const char* key);
double number_or(const JsonDoc& object, const char* key, double otherwise);
bool flag_of(const JsonDoc& object, const char* key);
/// The texts of an array of texts.
std::vector<std::string> texts_of(const JsonDoc& object, const char* key);

inline constexpr std::size_t kLongestText = 1000;

}  // namespace tramlog
