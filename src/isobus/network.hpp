// Who is who on each bus: NAME and address over time, from address claims alone (ISO 11783-5; fact sheet, network and
// diagnostics, 3.1 to 3.4). A pure state machine; it knows nothing of pace or silence.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <vector>

#include "can/event.hpp"
#include "isobus/message.hpp"
#include "isobus/name.hpp"

namespace tramlog {

inline constexpr Pgn kPgnAddressClaimed = 0xEE00;     // 60928
inline constexpr Pgn kPgnCommandedAddress = 0xFED8;   // 65240, 9 bytes

/// A claim this soon after a request for address claimed counts as its answer (fact sheet 3.2, 3.4, 11).
inline constexpr SpanNs kClaimAnswerWindow = 1250 * kMillisecond;
/// A claim is contested for this long (ISO 11783-5 claim settle time).
inline constexpr SpanNs kClaimSettle = 250 * kMillisecond;

/// Index of a controller (one NAME on one bus) in Network::controllers().
using ControllerId = std::int32_t;
inline constexpr ControllerId kNobody = -1;

enum class ClaimKind : std::uint8_t {
  first,       // this NAME was not heard before
  answer,      // same address, a request for address claimed came shortly before
  contest,     // same address, another NAME had just claimed it
  unprompted,  // same address, nobody asked: the controller started again
  move,        // another address than before
  cannot,      // from the null address: cannot claim
};

struct Claim {
  ControllerId controller = kNobody;
  BusIndex bus = 0;
  Address address = kNullAddress;
  ClaimKind kind = ClaimKind::first;
  TimeNs time = 0;
  std::uint64_t frame = 0;
  SpanNs since_request = -1;  // after the latest request that it may answer; -1 without one in the window
};

struct AddressInterval {
  Address address = kNullAddress;
  TimeNs start = 0;
  std::optional<TimeNs> end;  // none: held until the capture's end
  std::uint64_t start_frame = 0;
};

struct ControlFunction {
  Name name;
  BusIndex bus = 0;
  std::vector<AddressInterval> addresses;  // at most kMaxIntervals; later ones replace the last
  std::uint64_t claims = 0;                // cannot-claims included
  std::uint64_t unprompted_claims = 0;
  std::uint64_t double_claims = 0;  // same address again within 250 ms, unasked and uncontested: two boxes?
  TimeNs first_claim = 0;
  TimeNs last_claim = 0;
  std::uint64_t first_claim_frame = 0;
  std::uint64_t last_claim_frame = 0;
  Address address = kNullAddress;          // now; null: none
  bool refused = false;                    // its latest word was "cannot claim"
  TimeNs refused_at = 0;
  std::uint64_t refused_frame = 0;
};

enum class LoserFate : std::uint8_t { unknown, moved, cannot_claim, insists };

/// Two NAMEs wanted one address.
struct AddressContest {
  BusIndex bus = 0;
  Address address = 0;
  ControllerId holder = kNobody;      // had it before
  ControllerId challenger = kNobody;  // claimed it
  TimeNs start = 0;
  TimeNs last = 0;
  std::uint64_t first_frame = 0;
  std::uint64_t last_frame = 0;
  unsigned rounds = 1;       // claims of either side on this address
  bool answered = false;     // the holder defended, moved or gave up: a real contest, not a successor to a dead unit
  LoserFate fate = LoserFate::unknown;
  std::optional<Address> moved_to;
};

/// One NAME at two addresses that both go on talking.
struct DuplicateName {
  ControllerId controller = kNobody;
  BusIndex bus = 0;
  Address first_address = 0;
  Address second_address = 0;
  TimeNs start = 0;
  TimeNs last = 0;
  std::uint64_t first_frame = 0;
  std::uint64_t frames = 0;  // heard from the address that should be quiet, and claims that went back
};

struct CommandedAddress {
  BusIndex bus = 0;
  Address by = 0;
  Name target;
  Address address = 0;
  TimeNs time = 0;
  std::uint64_t frame = 0;
  bool obeyed = false;  // the target claimed that address within 5 s
};

class NetworkSink {
 public:
  virtual ~NetworkSink() = default;
  virtual void on_claim(const Claim& claim) = 0;
  /// The address now belongs to `to` (or to nobody); called before on_claim of the claim that did it.
  virtual void on_owner(BusIndex bus, Address address, ControllerId from, ControllerId to, TimeNs time) = 0;
};

class Network {
 public:
  static constexpr std::size_t kMaxControllers = 1024;  // NAMEs x buses, against hostile claims
  static constexpr std::size_t kMaxIntervals = 64;
  static constexpr std::size_t kMaxRecords = 256;       // contests, duplicates, commands: each

  explicit Network(NetworkSink& sink) : sink_(sink) {}

  /// A data frame of PGN 60928. Other lengths than 8 bytes are counted as malformed, not used.
  void take_claim(const Event& frame);
  /// A data frame of PGN 59904 that asks for PGN 60928.
  void take_claim_request(const Event& frame);
  /// A complete message of PGN 65240.
  void take_commanded_address(const Message& message);
  /// What a slice says was known at its begin: this NAME held the address (the null address: it could not claim one). No claim, and no
  /// word to the sink but that the address changed hands. kNobody if there is no room.
  ControllerId take_known(BusIndex bus, Name name, Address address, TimeNs time);
  /// A frame other than a claim from an address that nobody holds now (for duplicate NAMEs).
  void take_unowned(BusIndex bus, Address address, TimeNs time, std::uint64_t frame);

  ControllerId owner(BusIndex bus, Address address) const;
  /// Time of the latest request for address claimed to all; none if there was none on this bus.
  std::optional<TimeNs> asked_all(BusIndex bus) const;
  const std::vector<ControlFunction>& controllers() const { return controllers_; }
  const std::vector<AddressContest>& contests() const { return contests_; }
  const std::vector<DuplicateName>& duplicates() const { return duplicates_; }
  const std::vector<CommandedAddress>& commands() const { return commands_; }
  std::uint64_t malformed_claims() const { return malformed_claims_; }
  std::uint64_t over_cap() const { return over_cap_; }

 private:
  struct Slot {
    ControllerId owner = kNobody;
    ControllerId moved_away = kNobody;  // who left this address for another one
    TimeNs moved_at = 0;
    TimeNs requested = kNever;          // last request for address claimed to this address
  };
  struct Bus {
    std::array<Slot, 256> slots;
    TimeNs requested = kNever;          // last request for address claimed to all
  };
  static constexpr TimeNs kNever = INT64_MIN / 2;

  Bus& bus(BusIndex index);
  ControllerId find_or_add(Name name, const Event& frame, bool& added);
  void set_owner(BusIndex bus, Address address, ControllerId to, TimeNs time);
  void end_interval(ControllerId controller, TimeNs time);
  void begin_interval(ControllerId controller, Address address, const Event& frame);
  AddressContest* open_contest(BusIndex bus, Address address, TimeNs time);
  void contest(ControllerId holder, ControllerId challenger, const Event& frame, Address address);
  void settle_loser(ControllerId controller, const Event& frame, std::optional<Address> moved_to);
  void note_duplicate(ControllerId controller, BusIndex bus, Address quiet, TimeNs time, std::uint64_t frame);
  SpanNs since_request(const Bus& bus, Address address, TimeNs time) const;

  NetworkSink& sink_;
  std::vector<std::unique_ptr<Bus>> buses_;
  std::vector<ControlFunction> controllers_;
  std::map<std::pair<BusIndex, std::uint64_t>, ControllerId> index_;
  std::vector<AddressContest> contests_;
  std::vector<DuplicateName> duplicates_;
  std::vector<CommandedAddress> commands_;
  std::uint64_t malformed_claims_ = 0;
  std::uint64_t over_cap_ = 0;
};

}  // namespace tramlog
