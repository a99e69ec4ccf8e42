// The answering end of the control socket; on the main loop.
#pragma once

#include <boost/asio/io_context.hpp>
#include <functional>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "base/result.hpp"

namespace tramlog {

/// One answer, given once, from the main loop's thread.
struct ControlAnswer {
  nlohmann::json head;
  std::string body;
};
using GiveAnswer = std::function<void(ControlAnswer)>;

class ControlServer {
 public:
  struct Hooks {
    /// Must call `give` once, now or later, from the main loop.
    std::function<void(const nlohmann::json& request, GiveAnswer give)> answer;
    /// What a follower is told before the stream; may be empty.
    std::function<nlohmann::json()> before_follow;
    /// The rest of the connection belongs to whoever takes it; the first line has been sent.
    std::function<void(int descriptor)> follow;
  };

  ControlServer(boost::asio::io_context& context, Hooks hooks);
  ~ControlServer();
  ControlServer(const ControlServer&) = delete;
  ControlServer& operator=(const ControlServer&) = delete;

  /// Makes the socket (0660), for `group` if it is not empty. A socket that a recorder left behind is replaced, one that answers is an error.
  std::optional<Error> listen(const std::string& path, const std::string& group);
  void close();

 private:
  class Impl;
  std::shared_ptr<Impl> impl_;
};

}  // namespace tramlog
