#include "wire/ask.hpp"

#include <algorithm>

#include "isobus/network.hpp"

namespace tramlog {
namespace {

class Asking {
 public:
  Asking(ServiceTool& tool, const AskOptions& options,
         const std::function<std::optional<std::string>()>& may_go_on,
         const std::function<void(const AskProgress&)>& progress)
      : tool_(tool), options_(options), may_go_on_(may_go_on), progress_(progress), plan_(options.times) {}

  std::optional<Error> begin();
  void ask();
  AskResult finish();

 private:
  using Step = AskProgress::Step;
  void tell(Step step, std::optional<PlannedRequest> request = {}) {
    if (progress_) progress_({step, plan_.controllers().size(), plan_.requests(), request});
  }
  /// Runs on until `until` or `done`; false if the asking is over, with the reason in stopped_.
  bool run(TimeNs until, const std::function<bool()>& done = {});
  bool send(const PlannedRequest& request);
  void know_everybody();

  ServiceTool& tool_;
  const AskOptions& options_;
  const std::function<std::optional<std::string>()>& may_go_on_;
  const std::function<void(const AskProgress&)>& progress_;
  AskPlan plan_;
  Address asked_from_ = kNullAddress;
  bool complete_ = false;
  std::string stopped_;
};

bool Asking::run(TimeNs until, const std::function<bool()>& done) {
  switch (tool_.run(until, done, [&](const Event& event) { plan_.hear(event); })) {
    case ServiceTool::Run::stopped:
      stopped_ = "interrupted";
      return false;
    case ServiceTool::Run::failed:
      stopped_ = tool_.failure() ? tool_.failure()->what : "the interface failed";
      return false;
    case ServiceTool::Run::time_is_up:
    case ServiceTool::Run::done:
      break;
  }
  return true;
}

std::optional<Error> Asking::begin() {
  tell(Step::listening);
  if (!run(running_time() + options_.listen_first)) {
    if (tool_.failure()) return tool_.failure();
    return Error{ErrorKind::environment, "stopped before anything was sent", "", "ask again"};
  }
  tell(Step::claiming);
  auto claimed = tool_.claim(may_go_on_);
  if (!claimed) return claimed.error();
  asked_from_ = *claimed;
  plan_.set_own(asked_from_);
  know_everybody();
  return std::nullopt;
}

/// Everybody who claimed, and everybody who talks without a claim.
void Asking::know_everybody() {
  for (const auto& [address, name] : tool_.claims().others()) plan_.add(address, name);
  for (unsigned address = 0; address < kNullAddress; ++address)
    if (tool_.claims().talks(static_cast<Address>(address)))
      plan_.add(static_cast<Address>(address), std::nullopt);
}

bool Asking::send(const PlannedRequest& request) {
  if (may_go_on_) {
    if (auto reason = may_go_on_()) {
      stopped_ = std::move(*reason);
      return false;
    }
  }
  if (const auto error = tool_.request(request.pgn, request.destination)) {
    stopped_ = error->what;
    return false;
  }
  return true;
}

void Asking::ask() {
  tell(Step::calling);
  if (!send({kPgnAddressClaimed, kGlobalAddress})) return;
  if (!run(running_time() + options_.wait_for_claims)) return;
  know_everybody();
  std::optional<PlannedRequest> due;
  while (!plan_.done()) {
    // An address that was lost to a lower NAME is soon another one, or none.
    const auto next_step = [&] {
      if (tool_.claims().state() == ClaimState::claiming) return false;
      if (!tool_.holds() || !tool_.reaches_the_bus()) return true;
      asked_from_ = tool_.address();
      plan_.set_own(asked_from_);
      due = plan_.next(running_time());
      return due.has_value() || plan_.done();
    };
    if (!run(running_time() + options_.times.longest_transfer, next_step)) return;
    if (!tool_.reaches_the_bus()) {
      stopped_ = "our own frames do not get onto the bus any more";
      return;
    }
    if (!tool_.holds() && tool_.claims().state() != ClaimState::claiming) {
      stopped_ = "the address was lost: " + tool_.claims().reason();
      return;
    }
    if (!due) continue;
    const PlannedRequest request = *due;
    due.reset();
    const TimeNs at = running_time();  // before it goes out: on an idle bus the answer is there at once
    if (!send(request)) return;
    plan_.sent(request, at);
    tell(Step::asking, request);
  }
  complete_ = true;
}

AskResult Asking::finish() {
  tell(Step::giving_back);
  tool_.give_back();
  AskResult result;
  result.own_address = asked_from_;
  result.own_name = tool_.claims().name();
  result.controllers = plan_.controllers();
  std::stable_sort(result.controllers.begin(), result.controllers.end(),
                   [](const AskedController& a, const AskedController& b) { return a.address < b.address; });
  result.requests = plan_.requests();
  result.complete = complete_;
  result.stopped = std::move(stopped_);
  return result;
}

}  // namespace

Result<AskResult> ask_everybody(ServiceTool& tool, const AskOptions& options,
                                const std::function<std::optional<std::string>()>& may_go_on,
                                const std::function<void(const AskProgress&)>& progress) {
  Asking asking(tool, options, may_go_on, progress);
  if (auto error = asking.begin()) return std::move(*error);
  asking.ask();
  return asking.finish();
}

}  // namespace tramlog
