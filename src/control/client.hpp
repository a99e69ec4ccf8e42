// The asking end of the control socket.
#pragma once

#include <functional>
#include <nlohmann/json.hpp>
#include <string>

#include "base/result.hpp"

namespace tramlog::control {

struct Answer {
  nlohmann::json head;
  std::string body;
};

/// Asks and waits for the whole answer, at most `patience_s`. A refusal is an Error; so are: no recorder running, no permission, no answer.
Result<Answer> ask(const std::string& socket, const nlohmann::json& request, unsigned patience_s = 130);

/// Asks for a stream: the connection's descriptor, which the caller closes; the answer's line goes into `head` if that is given.
Result<int> follow(const std::string& socket, const nlohmann::json& request, nlohmann::json* head = nullptr);

}  // namespace tramlog::control
