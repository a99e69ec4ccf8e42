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

json refusal(const Error& error) {
  const char* kind = error.kind == ErrorKind::usage ? "usage" : error.kind == ErrorKind::input ? "input" : "environment";
  return {{"ok", false}, {"kind", kind}, {"what", error.what}, {"where", error.where}, {"remedy", error.remedy}};
}

Error error_of(const json& answer, const std::string& where) {
  const auto text = [&](const char* key, const std::string& otherwise) {
    const auto found = answer.find(key);
    return found != answer.end() && found->is_string() ? found->get<std::string>() : otherwise;
  };
  const std::string kind = text("kind", "environment");
  return {kind == "usage"   ? ErrorKind::usage
          : kind == "input" ? ErrorKind::input
                            : ErrorKind::environment,
          text("what", "the recorder refused"), text("where", where), text("remedy", "see the recorder's journal")};
}

}  // namespace tramlog::control
