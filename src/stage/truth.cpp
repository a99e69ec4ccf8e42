#include "stage/truth.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

namespace tramlog::stage {
namespace {

// Complete transfers beyond this are only counted: the truth of an endless run must not grow with it.
constexpr std::size_t kMaxListedTransfers = 2000;
constexpr std::size_t kMaxAddressSpans = 100;

}  // namespace

Truth::Truth(const Scenario& scenario)
    : scenario_(scenario), accounts_(scenario.controllers.size()), strangers_(scenario.strangers.size()) {
  for (std::size_t i = 0; i < accounts_.size(); ++i) accounts_[i].software = scenario.controllers[i].software;
}

void Truth::end_silence(Account& account, TimeNs begin, TimeNs stamp, bool claim) {
  Dropout& dropout = dropouts_[static_cast<std::size_t>(account.silence)];
  if (begin < dropout.opened_at) return;  // it was on the wire already when the silence began
  dropout.start = account.last;
  dropout.end = stamp;
  dropout.reclaimed = claim;
  account.silence = -1;
}

void Truth::move(Account& account, Address address, TimeNs stamp) {
  if (!account.addresses.empty() && !account.addresses.back().end && account.address >= 0) {
    account.addresses.back().end = stamp;
  }
  account.address = address;
  if (address < 0xFE && account.addresses.size() < kMaxAddressSpans) {
    account.addresses.push_back({address, stamp, std::nullopt});
  }
}

void Truth::stranger_heard(std::size_t stranger, TimeNs stamp) {
  StrangerAccount& account = strangers_[stranger];
  if (account.frames++ == 0) account.first = stamp;
  account.last = stamp;
}

void Truth::begin_silence(std::uint32_t controller, TimeNs now, Silence kind, const std::string& cause,
                          unsigned group) {
  Account& account = accounts_[controller];
  if (account.frames == 0 || account.silence >= 0) return;
  account.silence = static_cast<int>(dropouts_.size());
  dropouts_.push_back({controller, kind, cause, group, now, account.address, 0, std::nullopt, false});
}

void Truth::intended_silence(std::uint32_t controller, TimeNs from, TimeNs until, const std::string& cause) {
  intended_.push_back({controller, from, until, cause});
}

std::size_t Truth::cause(CauseTruth cause) {
  causes_.push_back(std::move(cause));
  return causes_.size() - 1;
}

void Truth::cause_hits(std::size_t cause, std::uint32_t controller) {
  auto& hit = causes_[cause].controllers;
  if (std::find(hit.begin(), hit.end(), controller) == hit.end()) hit.push_back(controller);
}

void Truth::cause_ends(std::size_t cause, TimeNs stamp) {
  if (!causes_[cause].end) causes_[cause].end = stamp;
}

void Truth::lost_address(std::uint32_t controller, TimeNs stamp) {
  Account& account = accounts_[controller];
  if (!account.addresses.empty() && !account.addresses.back().end) account.addresses.back().end = stamp;
  account.address = -1;
}

void Truth::software_reported(std::uint32_t controller, const std::vector<std::string>& texts, TimeNs stamp) {
  accounts_[controller].software = texts;
  accounts_[controller].software_reported_at = stamp;
}

void Truth::dtc_active(std::uint32_t controller, std::uint32_t spn, std::uint8_t fmi, unsigned occurrence,
                       TimeNs stamp) {
  DtcTruth& dtc = dtcs_[{controller, spn, fmi}];
  dtc.occurrence = occurrence;
  if (dtc.active) return;
  if (dtc.activations++ == 0) dtc.first_active = stamp;
  dtc.active = true;
  dtc.cleared.reset();
}

void Truth::dtc_cleared(std::uint32_t controller, std::uint32_t spn, std::uint8_t fmi, TimeNs stamp) {
  const auto found = dtcs_.find({controller, spn, fmi});
  if (found == dtcs_.end() || !found->second.active) return;
  found->second.active = false;
  found->second.cleared = stamp;
}

void Truth::transfer(const TransferTruth& transfer) {
  count_transfer(transfer.carrier, transfer.outcome);
  if (transfer.outcome == Outcome::complete && transfers_.size() >= kMaxListedTransfers) {
    ++transfers_not_listed_;
    return;
  }
  transfers_.push_back(transfer);
}

bool Truth::overlaps_blind(const Recorder& recorder, std::size_t bus, TimeNs start, TimeNs end) const {
  return std::any_of(recorder.blind().begin(), recorder.blind().end(), [&](const BlindInterval& blind) {
    return blind.bus == bus && blind.start < end && blind.end > start;
  });
}

}  // namespace tramlog::stage
