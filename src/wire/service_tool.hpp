// A service tool on one bus: an address of its own for as long as it asks (ISO 11783-5; fact sheet, network
// and diagnostics, 3.2, 3.4). Until claim() nothing is sent. The kernel's j1939 socket acknowledges long
// answers for us; without it no unit could send more than eight bytes.
//
//   auto tool = ServiceTool::open({.interface = "can0", .manufacturer_code = 1000, .identity_number = 7,
//                                  .random_byte = dice, .on_event = [&](const Event& e) { guard.take(e); },
//                                  .stop = &stop});
//   if (!tool) ...
//   tool->run(running_time() + 3 * kSecond);              // only listens
//   if (guard.reasons_not_to_transmit(running_time()).empty()) tool->claim();
//   ...                                                   // ask_everybody() in wire/ask.hpp does all of this
//   tool->give_back();                                    // also done by the destructor
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "base/result.hpp"
#include "wire/claim_machine.hpp"
#include "wire/speaking_socket.hpp"

namespace tramlog {

struct ServiceToolOptions {
  std::string interface;
  std::uint32_t manufacturer_code = 0;        // 11 bits
  std::uint32_t identity_number = 0;          // 21 bits; two tools on one bus need different ones
  std::function<std::uint8_t()> random_byte;  // for the delays of the standard (RTxD)
  std::function<void(const Event&)>
      on_event;                    // everything on the bus, our own echoes included (kOutbound); may be empty
  const StopFlag* stop = nullptr;  // may be null
};

class ServiceTool {
 public:
  /// Opens the sockets; sends nothing. Errors of kind environment: no such interface, interface down, a
  /// kernel without the modules can-raw or can-j1939.
  static Result<ServiceTool> open(ServiceToolOptions options);
  ServiceTool(ServiceTool&&) noexcept;
  ServiceTool& operator=(ServiceTool&&) = delete;
  /// Gives the address back.
  ~ServiceTool();

  enum class Run : std::uint8_t { time_is_up, done, stopped, failed };
  /// Listens, and defends the address if there is one, until `until` (CLOCK_MONOTONIC), or until `done` says
  /// so (asked after every gulp and at least every 20 ms). `each` sees all frames but our own. Failed:
  /// failure().
  Run run(TimeNs until, const std::function<bool()>& done = {},
          const std::function<void(const Event&)>& each = {});
  const std::optional<Error>& failure() const;

  /// Asks for the claims of all, claims a free address, and has it after some 0.6 s. `may_go_on` is asked
  /// before each frame: a reason ends it. Errors: the reason, stopped, no free address, our frames do not get
  /// onto the bus. Whatever was begun is taken back.
  Result<Address> claim(const std::function<std::optional<std::string>()>& may_go_on = {});
  /// A request; only while the address is held.
  std::optional<Error> request(Pgn pgn, Address destination);
  /// Waits for transfers of our own to end (at most 3 s), then says "cannot claim", so that nobody counts on
  /// the address.
  void give_back();

  const ClaimMachine& claims() const;
  Address address() const { return claims().address(); }
  bool holds() const { return claims().state() == ClaimState::holding; }
  /// False: a frame of ours was sent a second ago and has still not been on the bus (listen-only, bus-off,
  /// nobody there).
  bool reaches_the_bus() const;

 private:
  struct Impl;
  explicit ServiceTool(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
