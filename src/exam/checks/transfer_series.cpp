#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check transfer_series;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  // By sender, and by receiver: whoever has part in several with different partners, or always the same two.
  std::map<std::size_t, std::vector<const TransferEnd*>> sent, received;
  for (const TransferEnd& end : all.transfers.failed) {
    if (end.outcome == TransferOutcome::unseen) continue;
    // Cut off by a dropout of either: its consequence.
    if (near_dropout(all, end.bus, end.source, end.start, end.end) ||
        near_dropout(all, end.bus, end.destination, end.start, end.end))
      continue;
    if (const auto by = controller_at(all, end.bus, end.source, end.start)) sent[*by].push_back(&end);
    if (end.destination == kGlobalAddress) continue;
    if (const auto to = controller_at(all, end.bus, end.destination, end.start))
      received[*to].push_back(&end);
  }
  const auto tell = [&](std::size_t controller, const std::vector<const TransferEnd*>& list, bool as_sender) {
    if (list.empty() || static_cast<double>(list.size()) < (*seen.limits)["transfer.series"]) return;
    std::map<std::string, unsigned> outcomes;
    for (const TransferEnd* end : list) ++outcomes[outcome_code(end->outcome)];
    std::string how;
    for (const auto& [outcome, times] : outcomes)
      how += fmt::format("{}{} {}", how.empty() ? "" : ", ", times, outcome);
    Fault fault;
    fault.code = transfer_series.code;
    fault.severity = Severity::warning;
    fault.start = list.front()->start;
    fault.end = list.back()->end;
    fault.controllers = {controller};
    fault.bus = list.front()->bus;
    fault.text =
        fmt::format("{} transfers {} {} failed between {} and {}: {}.", list.size(),
                    as_sender ? "from" : "to", controller_words(all, controller),
                    format_time_of_day(list.front()->start), format_time_of_day(list.back()->end), how);
    fault.evidence.push_back({{list.front()->start, list.front()->first_frame}, "the first of them began"});
    fault.evidence.push_back({{list.back()->end, list.back()->last_frame}, "the last of them ended"});
    faults.push_back(std::move(fault));
  };
  for (const auto& [controller, list] : sent) tell(controller, list, true);
  for (const auto& [controller, list] : received) {
    // All from one sender that is told already: the same series.
    const auto from = [](const TransferEnd* end) { return end->source; };
    const bool one_sender = std::all_of(
        list.begin(), list.end(), [&](const TransferEnd* end) { return from(end) == from(list.front()); });
    if (one_sender && controller_at(all, list.front()->bus, list.front()->source, list.front()->start))
      continue;
    tell(controller, list, false);
  }
}

}  // namespace

const Check transfer_series{"transfer.series",
                            "Several multi-frame transfers of one controller failed, three at least; those "
                            "that a dropout or the recorder's own "
                            "loss cut off do not count.",
                            judge};

}  // namespace tramlog::checks
