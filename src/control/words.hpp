// What `tramlog` and `tramlogd` say to each other over the Unix socket: one request a connection, a JSON object in one line;
// an answer of one such line and, if it names `bytes`, so many bytes of body. After an accepted "follow" the rest of the connection is a pcapng stream.
//
//   {"do":"status","format":"text"}
//   {"do":"report","format":"json","unicode":false,"place":false,"roster":"machine = ..","roster_name":"drill.toml"}   also "rollcall"
//   {"do":"mark","text":"seed hose refitted"}
//   {"do":"follow"}                        the answer may hold "roster" and "roster_name"
//   {"do":"standstill","bus":"can0"}       may something be transmitted now?
//   {"ok":true,"exit":0,"bytes":1234}      or  {"ok":false,"kind":"usage","what":"..","where":"..","remedy":".."}
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "base/result.hpp"

namespace tramlog::control {

inline constexpr const char* kUsualSocket = "/run/tramlog/control";
inline constexpr std::size_t kMostRequestBytes = 4 << 20;  // a roster may be in it

/// One line, always valid UTF-8.
std::string line_of(const nlohmann::json& object);
/// None if the text is no JSON object.
Result<nlohmann::json> parse_line(const std::string& text, const std::string& where);

/// The value of a key, or `otherwise` if it is not there or of another kind.
bool flag_of(const nlohmann::json& object, const char* key);
std::uint64_t number_of(const nlohmann::json& object, const char* key, std::uint64_t otherwise = 0);
std::string text_of(const nlohmann::json& object, const char* key, const std::string& otherwise = {});

nlohmann::json refusal(const Error& error);
/// The error that a refusal carries.
Error error_of(const nlohmann::json& answer, const std::string& where);

}  // namespace tramlog::control
