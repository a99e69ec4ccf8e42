#include "control/words.hpp"

namespace tramlog::control {

using nlohmann::json;

std::string line_of(const json& object) {
  return object.dump(-1, ' ', false, json::error_handler_t::replace) + "\n";
}

Result<json> parse_line(const std::string& text, const std::string& where) {
  json object = json::parse(text, nullptr, false);
  if (object.is_object()) return object;
  return Error{ErrorKind::environment, "what came over the control socket is no JSON object", where,
               "check that tramlog and tramlogd are of one version"};
}

bool flag_of(const json& object, const char* key) {
  const auto found = object.find(key);
  return found != object.end() && found->is_boolean() && found->get<bool>();
}

std::uint64_t number_of(const json& object, const char* key, std::uint64_t otherwise) {
  const auto found = object.find(key);
  return found != object.end() && found->is_number_unsigned() ? found->get<std::uint64_t>() : otherwise;
}

std::string text_of(const json& object, const char* key, const std::string& otherwise) {
  const auto found = object.find(key);
  return found != object.end() && found->is_string() ? found->get<std::string>() : otherwise;
}

json refusal(const Error& error) {
  const char* kind = error.kind == ErrorKind::usage ? "usage" : error.kind == ErrorKind::input ? "input" : "environment";
  return {{"ok", false}, {"kind", kind}, {"what", error.what}, {"where", error.where}, {"remedy", error.remedy}};
}

Error error_of(const json& answer, const std::string& where) {
  const std::string kind = text_of(answer, "kind", "environment");
  return {kind == "usage"   ? ErrorKind::usage
          : kind == "input" ? ErrorKind::input
                            : ErrorKind::environment,
          text_of(answer, "what", "the recorder refused"), text_of(answer, "where", where), text_of(answer, "remedy", "see the recorder's journal")};
}

}  // namespace tramlog::control
