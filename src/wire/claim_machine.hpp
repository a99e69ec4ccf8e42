// The address claim of a service tool of our own (ISO 11783-5; fact sheet, network and
// diagnostics, 1.2, 1.3, 3.2, 3.3). Pure: frames and time come in, frames to send go out.
//
//   ClaimMachine machine(service_tool_name(1000, 7), random_byte);
//   machine.start(now);
//   for (;;) { for (frame heard) machine.hear(event); machine.advance(now); for (frame :
//   machine.take_frames()) send(frame); } machine.give_back();
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "can/can_id.hpp"
#include "can/event.hpp"
#include "isobus/name.hpp"

namespace tramlog {

/// A classic frame with 29-bit identifier that is to be sent.
struct OutFrame {
  std::uint32_t id = 0;
  std::uint8_t len = 0;  // 0..8
  std::array<std::uint8_t, 8> data{};
};

/// Request for a PGN (fact sheet 4.1).
OutFrame request_frame(Pgn pgn, Address source, Address destination);

/// Function 129 (off-board diagnostic-service tool), industry group 0, self-configurable (fact
/// sheet 2.1, 2.5). The numbers are cut to 11 and 21 bits.
Name service_tool_name(std::uint32_t manufacturer_code, std::uint32_t identity_number);

enum class ClaimState : std::uint8_t {
  idle,        // not begun
  asking,      // asked who is there, waits for the answers
  claiming,    // claimed, 250 ms not yet over: nothing else may be sent
  holding,     // the address is its own
  refused,     // cannot claim: see reason()
  given_back,  // said "cannot claim" at the end
};

class ClaimMachine {
 public:
  static constexpr SpanNs kSettle = 250 * kMillisecond;     // fact sheet 3.2, steps 2 and 5
  static constexpr SpanNs kDelayStep = 600 * kMicrosecond;  // RTxD = 0..255 of these
  static constexpr SpanNs kViolationPause =
      5 * kSecond;  // between claims against a stranger at our address (3.3)
  static constexpr std::array<Address, 2> kPreferred{249, 250};
  static constexpr Address kFirstFree = 128, kLastFree = 235;

  /// `random_byte` gives RTxD, each time anew.
  ClaimMachine(Name name, std::function<std::uint8_t()> random_byte);

  /// Asks everybody for the claims, from the null address. Only once.
  void start(TimeNs now);
  /// Any frame of the bus except echoes of our own. Before start() it learns which addresses are taken.
  /// Frames with kOutbound (made on this machine) and transport frames at our address are our kernel's own,
  /// no violation.
  void hear(const Event& frame);
  /// Time has come this far.
  void advance(TimeNs now);
  /// Says "cannot claim" from the null address, so that nobody counts on the address any more.
  void give_back();

  /// What is to be sent now, in order; emptied by the call.
  std::vector<OutFrame> take_frames();
  /// When advance() has something to do; none: nothing without a frame heard.
  std::optional<TimeNs> next_deadline() const { return deadline_; }

  ClaimState state() const { return state_; }
  /// The own address while claiming and holding, else the null address.
  Address address() const { return address_; }
  Name name() const { return name_; }
  /// Why refused; a sentence part.
  const std::string& reason() const { return reason_; }
  /// NAME at each address that was claimed by others (the null address is none).
  const std::map<Address, Name>& others() const { return others_; }
  /// Addresses that were heard as a source, claimed or not.
  bool talks(Address address) const { return heard_[address]; }

 private:
  void hear_claim(Address source, Name name, TimeNs now);
  void hear_request(Address destination, TimeNs now);
  void claim_next(TimeNs now);
  void refuse(TimeNs now, std::string reason);
  void send_claim(Address from);
  SpanNs delay() { return random_byte_() * kDelayStep; }

  Name name_;
  std::function<std::uint8_t()> random_byte_;
  ClaimState state_ = ClaimState::idle;
  Address address_ = kNullAddress;
  std::optional<TimeNs> deadline_;
  std::optional<TimeNs> refusal_due_;  // same as deadline_ while a "cannot claim" waits for its delay
  TimeNs violation_told_ = INT64_MIN / 2;
  std::string reason_;
  bool duplicate_ = false;  // somebody else has our NAME
  std::map<Address, Name> others_;
  std::array<bool, 256> heard_{};
  std::vector<OutFrame> out_;
};

}  // namespace tramlog
