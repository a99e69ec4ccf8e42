// Answers what comes over the control socket (control/words.hpp). On the main loop.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "daemon/control_server.hpp"
#include "daemon/live_desk.hpp"
#include "daemon/standstill.hpp"
#include "daemon/status_page.hpp"

namespace tramlog {

class RequestDesk {
 public:
  struct Hooks {
    std::function<DaemonStatus()> status;
    std::function<std::optional<TimeNs>(RecorderNote)> note;
    std::function<std::optional<Standstill::Verdict>(const std::string& bus)> standstill;
  };

  RequestDesk(LiveDesk& desk, Hooks hooks) : desk_(desk), hooks_(std::move(hooks)) {}

  void answer(const nlohmann::json& request, GiveAnswer give);

 private:
  void status(const nlohmann::json& request, const GiveAnswer& give);
  void report(const nlohmann::json& request, bool rollcall, GiveAnswer give);
  void mark(const nlohmann::json& request, const GiveAnswer& give);
  void standstill(const nlohmann::json& request, const GiveAnswer& give);

  LiveDesk& desk_;
  Hooks hooks_;
};

}  // namespace tramlog
