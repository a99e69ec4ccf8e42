// What really happened, for comparison with what an examiner concludes from the capture. Written as JSON
// "tramlog.truth/1" (SCENARIO.md lists the keys). Times are as the logger stamps them.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "stage/implement_truth.hpp"
#include "stage/recorder.hpp"
#include "stage/scenario.hpp"

namespace tramlog::stage {

enum class Silence : std::uint8_t { controller, bus_silent, power_down };
enum class Outcome : std::uint8_t {
  complete,
  aborted,
  timed_out,
  interrupted,
  out_of_order,
  unseen,
  unfinished
};

struct TransferTruth {
  Carrier carrier = Carrier::bam;
  std::uint32_t sender = 0;  // controller
  std::size_t bus = 0;
  Address source = 0, destination = 0xFF;
  Pgn pgn = 0;
  std::size_t bytes = 0;
  std::optional<TimeNs> start, end;  // of the frames that the logger heard
  Outcome outcome = Outcome::complete;
  std::optional<std::uint8_t> abort_reason;
  std::uint32_t frames = 0, frames_unheard = 0;
};

/// A cause as it really was (codes in SCENARIO.md).
struct CauseTruth {
  std::string code;
  std::size_t bus = 0;
  std::string supply, branch, origin;
  TimeNs start = 0;  // as stamped
  std::optional<TimeNs> end;
  std::vector<std::uint32_t> controllers;  // that fell silent, restarted or went wrong by it
  bool needs_victims = false;              // nothing happened if nobody felt it
};

class Truth {
 public:
  explicit Truth(const Scenario& scenario);

  /// A frame of a controller went over the bus and was heard. `begin` is in scenario time.
  void heard(std::uint32_t controller, Address address, TimeNs begin, TimeNs stamp, bool claim) {
    Account& account = accounts_[controller];
    if (account.silence >= 0) end_silence(account, begin, stamp, claim);
    if (account.frames++ == 0) account.first = stamp;
    account.last = stamp;
    if (claim) ++account.claims;
    if (address != account.address) move(account, address, stamp);
  }
  void stranger_heard(std::size_t stranger, TimeNs stamp);

  /// From now on this controller is not to be heard. Nothing if it was never heard or is silent already.
  void begin_silence(std::uint32_t controller, TimeNs now, Silence kind, const std::string& cause,
                     unsigned group);
  /// Silence that was announced on the bus (stop broadcast, heartbeat 255): never a dropout.
  void intended_silence(std::uint32_t controller, TimeNs from, TimeNs until, const std::string& cause);
  void lost_address(std::uint32_t controller, TimeNs stamp);
  void refused(std::uint32_t controller) { accounts_[controller].refused = true; }
  void software_reported(std::uint32_t controller, const std::vector<std::string>& texts, TimeNs stamp);
  void dtc_active(std::uint32_t controller, std::uint32_t spn, std::uint8_t fmi, unsigned occurrence,
                  TimeNs stamp);
  void dtc_cleared(std::uint32_t controller, std::uint32_t spn, std::uint8_t fmi, TimeNs stamp);
  void transfer(const TransferTruth& transfer);
  void count_transfer(Carrier carrier, Outcome outcome) {
    ++transfer_counts_[static_cast<std::size_t>(carrier)][static_cast<std::size_t>(outcome)];
  }

  /// A cause begins; the number is for the calls below.
  std::size_t cause(CauseTruth cause);
  void cause_hits(std::size_t cause, std::uint32_t controller);
  void cause_ends(std::size_t cause, TimeNs stamp);

  void implement(ImplementTruth implement) { implements_.push_back(std::move(implement)); }

  std::string to_json(const Recorder& recorder) const;

 private:
  struct AddressSpan {
    Address address;
    TimeNs start;
    std::optional<TimeNs> end;
  };
  struct Account {
    std::vector<AddressSpan> addresses;
    TimeNs first = 0, last = 0;
    std::uint64_t frames = 0, claims = 0;
    int address = -1;
    int silence = -1;  // index of the open dropout
    bool refused = false;
    std::vector<std::string> software;
    std::optional<TimeNs> software_reported_at;
  };
  struct Dropout {
    std::uint32_t controller;
    Silence kind;
    std::string cause;
    unsigned group;
    TimeNs opened_at;  // scenario time
    int address;
    TimeNs start = 0;
    std::optional<TimeNs> end;
    bool reclaimed = false;
  };
  struct Intended {
    std::uint32_t controller;
    TimeNs from, until;
    std::string cause;
  };
  struct DtcTruth {
    TimeNs first_active = 0;
    std::optional<TimeNs> cleared;
    unsigned occurrence = 0, activations = 0;
    bool active = false;
  };
  struct StrangerAccount {
    TimeNs first = 0, last = 0;
    std::uint64_t frames = 0;
  };
  void end_silence(Account& account, TimeNs begin, TimeNs stamp, bool claim);
  static void move(Account& account, Address address, TimeNs stamp);
  bool overlaps_blind(const Recorder& recorder, std::size_t bus, TimeNs start, TimeNs end) const;

  const Scenario& scenario_;
  std::vector<Account> accounts_;
  std::vector<StrangerAccount> strangers_;
  std::vector<ImplementTruth> implements_;
  std::vector<Dropout> dropouts_;
  std::vector<Intended> intended_;
  std::vector<CauseTruth> causes_;
  std::vector<TransferTruth> transfers_;
  std::uint64_t transfers_not_listed_ = 0;
  std::array<std::array<std::uint64_t, 7>, 5> transfer_counts_{};
  std::map<std::tuple<std::uint32_t, std::uint32_t, std::uint8_t>, DtcTruth> dtcs_;
};

}  // namespace tramlog::stage
