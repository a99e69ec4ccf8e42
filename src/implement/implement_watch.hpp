// Gathers what an ISO 11783 bus tells about implements: who is client of which task controller, what the device is made of, what it was told
// and what it did. Fed by the Examiner; asks no clock. Bounded.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "implement/known_pools.hpp"
#include "implement/limits.hpp"
#include "implement/records.hpp"
#include "isobus/network.hpp"
#include "isobus/transfers.hpp"
#include "schema/schema.hpp"

namespace tramlog {

struct ImplementOptions {
  SeedingLimits limits = SeedingLimits::built_in();
  KnownPools pools;
};

class ImplementWatch {
 public:
  static constexpr std::size_t kMaxDevices = 64;  // all buses
  static constexpr std::size_t kMaxPictured = 8;  // of them, whose rates and sections are kept for pictures
  static constexpr std::size_t kMaxLinks = 8;     // of one device
  static constexpr std::size_t kMaxBuses = 64;    // as the Examiner has

  /// Both must outlive it. `network` says who holds an address; it is asked at each message.
  ImplementWatch(const Schema& schema, const Network& network, ImplementOptions options = {});
  ~ImplementWatch();
  ImplementWatch(const ImplementWatch&) = delete;
  ImplementWatch& operator=(const ImplementWatch&) = delete;

  /// PGNs that take() uses.
  static bool wants(Pgn pgn);

  void take(const Message& message);
  /// A transfer that did not end complete; of PGN 51968 it may have been an object pool.
  void take_failed_transfer(const TransferEnd& end);
  /// A controller started (again), by its claim.
  void take_start(ControllerId controller, Mark at);
  /// The recorder lost frames of this bus.
  void take_blindness(BusIndex bus, TimeNs from, TimeNs to);
  /// The recorder's clock stepped.
  void take_clock_step();
  /// Time has come this far.
  void advance(TimeNs now);

  /// The pool that a client had uploaded before the part of a slice that begins at `at`.
  void take_pool_before_cut(Name client, std::vector<std::uint8_t> bytes, Mark at);
  /// The clients whose pools this recording told whole, here or before it was cut. Valid until the next call.
  struct ToldPool {
    BusIndex bus = 0;
    Address address = kNullAddress;
    Name client;
    const std::vector<std::uint8_t>* bytes = nullptr;
  };
  std::vector<ToldPool> told_pools() const;

  SeedingRecord conclude(TimeNs end);

 private:
  struct Bus;
  struct Unit;
  struct Peer {
    ControllerId controller = kNobody;
    Address address = kNullAddress;
  };
  Bus& bus_of(BusIndex index);
  Peer peer(BusIndex bus, Address address) const;
  bool is_server(const Bus& bus, Peer peer) const;
  Unit* unit_of(BusIndex bus, Peer client, bool make, Mark at);
  void take_process_data(Bus& bus, const Message& message);
  void take_status(Bus& bus, const Message& message);
  void take_variable(Unit& unit, const Message& message, bool from_client);
  void take_nack(Bus& bus, const Message& message);
  void note_activity(Bus& bus, TimeNs now);
  void set_task(Unit& unit, bool active, Mark at);

  const Schema& schema_;
  const Network& network_;
  ImplementOptions options_;
  const double working_mm_s_;  // slower is standing
  std::vector<std::unique_ptr<Bus>> buses_;
  std::vector<std::unique_ptr<Unit>> units_;
  std::uint64_t units_not_kept_ = 0;
  std::size_t pools_taken_ = 0;  // by take_pool_before_cut
  TimeNs now_ = 0;
};

}  // namespace tramlog
