// One controller of the machine: claims an address, speaks, answers, drops out (fact sheet, network and
// diagnostics, 3.2, 4, 6.3, 7.2).
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "stage/bus.hpp"
#include "stage/encode.hpp"
#include "stage/random.hpp"
#include "stage/truth.hpp"

namespace tramlog::stage {

class World;

class Controller {
 public:
  enum class State : std::uint8_t { off, booting, asking, claiming, operational, refused };

  Controller(World& world, std::uint32_t index, const ControllerSpec& spec);

  // What happens to it.
  void power_on(SpanNs boot);
  void power_off();
  void set_muted(bool muted) { muted_ = muted; }
  /// Its supply opens, once more if it is open already at another place; it is off until all are closed
  /// again.
  void cut_power();
  void restore_power(SpanNs boot);
  /// The same with its CAN wire: it neither hears nor is heard.
  void cut_wire() { ++wire_cuts_; }
  void restore_wire() { wire_cuts_ -= wire_cuts_ > 0 ? 1 : 0; }
  /// It had its address before the capture began.
  void run_already();
  void take_address(Address address);
  void set_software(std::vector<std::string> software) { software_ = std::move(software); }
  void set_dtc(std::uint32_t spn, std::uint8_t fmi);
  void clear_dtc(std::uint32_t spn, std::uint8_t fmi);
  /// Regular traffic rests until then (scenario time).
  void rest_until(TimeNs until) { resting_until_ = until; }
  bool resting(TimeNs now) const { return now < resting_until_; }

  // What it hears.
  void hear_claim(std::uint32_t sender, Address source, std::uint64_t name, bool first_claim);
  void hear_request(Address source, Address destination, Pgn pgn);
  void hear_rate_request(Address source, Address destination, Pgn pgn, unsigned rate_ms);
  /// Somebody else spoke from its address.
  void hear_violation();

  // What it does.
  void send(const WireFrame& frame, Hook hook = {});
  void send_message(unsigned priority, Pgn pgn, Address destination, const std::vector<std::uint8_t>& data,
                    Hook hook = {});
  /// Runs later, unless it was switched off meanwhile.
  void later(SpanNs delay, std::function<void()> call);
  void send_request_for_claims();
  void start_transfer(const TransferSpec& transfer);

  const ControllerSpec& spec() const { return spec_; }
  std::uint32_t index() const { return index_; }
  std::uint32_t epoch() const { return epoch_; }
  Address address() const { return address_; }
  State state() const { return state_; }
  TimeNs operational_since() const { return operational_since_; }
  bool powered() const { return state_ != State::off; }
  bool hears() const { return powered() && state_ != State::booting && !muted(); }
  bool can_send() const { return powered() && !muted(); }
  bool operational() const { return state_ == State::operational; }
  bool has_address() const { return state_ == State::claiming || operational(); }
  bool muted() const { return muted_ || wire_cuts_ > 0; }
  /// Announces its working set, as at its start.
  void define_working_set();
  void knows(Address address, std::uint64_t name) { known_[address] = name; }

 private:
  void choose_address();
  void send_claim();
  void cannot_claim();
  void lose_address();
  void become_operational();
  Address free_address() const;
  bool self_configurable() const { return (spec_.name >> 63) != 0; }
  SpanNs rtxd();

  void start_requests();
  void ask(const RequestSpec& request, Address destination);
  void ask_each(const RequestSpec& request);
  void acknowledge(std::uint8_t control, Address requester, Pgn pgn);
  bool answer(Address requester, bool to_all, Pgn pgn);
  void give(Pgn pgn, std::vector<std::uint8_t> payload, Address requester, bool to_all,
            std::function<void(TimeNs)> given);
  void send_dm1(bool repeat);

  World& world_;
  const ControllerSpec& spec_;
  std::uint32_t index_;
  std::uint32_t epoch_ = 0;
  std::size_t starts_ = 0;
  State state_ = State::off;
  bool muted_ = false;
  unsigned power_cuts_ = 0, wire_cuts_ = 0;
  bool wants_power_ = false;   // switched on behind an open supply
  bool knows_others_ = false;  // asked for claims since it was switched on
  Address address_;
  std::uint32_t claim_serial_ = 0;
  TimeNs resting_until_ = 0;
  TimeNs operational_since_ = 0;
  TimeNs last_violation_claim_ = -kMinute;
  std::array<std::uint64_t, 256> known_{};
  std::vector<std::string> software_;
  std::vector<ActiveDtc> active_;
  std::vector<ActiveDtc> history_;  // occurrence counts
  std::uint32_t dm1_serial_ = 0;
  Random random_;
};

}  // namespace tramlog::stage
