#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check transfer_failed;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  const auto& failed = all.transfers.failed;
  std::vector<bool> told(failed.size(), false);
  for (std::size_t i = 0; i < failed.size(); ++i) {
    const TransferEnd& first = failed[i];
    if (told[i] || first.outcome == TransferOutcome::unseen) continue;
    // The same thing again and again is one fault with a count.
    std::size_t times = 0;
    const TransferEnd* last = &first;
    for (std::size_t j = i; j < failed.size(); ++j) {
      const TransferEnd& other = failed[j];
      if (other.protocol != first.protocol || other.outcome != first.outcome || other.bus != first.bus ||
          other.source != first.source || other.destination != first.destination || other.pgn != first.pgn ||
          other.abort_reason != first.abort_reason)
        continue;
      told[j] = true;
      ++times;
      last = &other;
    }
    std::vector<std::size_t> parties;
    for (std::size_t c = 0; c < all.controllers.size(); ++c)
      for (const AddressInterval& interval : all.controllers[c].addresses)
        if (all.controllers[c].bus == first.bus && interval.address == first.source &&
            interval.start <= first.start && (!interval.end || *interval.end >= first.start)) {
          parties.push_back(c);
          break;
        }
    Fault fault;
    fault.code = transfer_failed.code;
    fault.severity = Severity::warning;
    fault.start = first.start;
    fault.end = last->end;
    fault.controllers = parties;
    fault.bus = first.bus;
    fault.text = fmt::format(
        "A {} transfer of PGN {} from {} to {} {}{}.", protocol_code(first.protocol), pgn_words(first.pgn),
        parties.empty() ? address_words(first.source) : controller_words(all, parties.front()),
        first.destination == kGlobalAddress ? std::string("all") : address_words(first.destination),
        failure_words(first),
        times > 1 ? fmt::format("; {} times, the last one at {}", times, format_time_of_day(last->start))
                  : "");
    fault.evidence.push_back({{first.start, first.first_frame}, "it began"});
    fault.evidence.push_back({{first.end, first.last_frame}, "last frame of it"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check transfer_failed{"transfer.failed",
                            "A multi-frame transfer did not arrive: aborted, timed out (T1 750 ms, T3 1250 "
                            "ms), interrupted or out of order (ISO 11783-3).",
                            judge};

}  // namespace tramlog::checks
