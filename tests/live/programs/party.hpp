// One controller on the bus, played over the kernel's own j1939 sockets: the kernel does claims and
// transfers, an implementation that shares nothing with the product's.
#pragma once

#include <cstdint>
#include <cstdio>
#include <string>
#include <vector>

namespace live {

struct Fault {
  std::uint32_t spn = 0;
  unsigned fmi = 0;
  unsigned count = 1;
};

/// What a party is and says; the texts are the fields without their delimiters' meaning: "P1*S1**..*" as on
/// the bus.
struct PartyPlan {
  std::string interface;
  std::uint64_t name = 0;
  std::uint8_t address = 0;
  std::string software;  // fields ended by '*'; empty: not supported
  std::string ecu;
  std::string product;
  std::vector<Fault> faults;
  int busy = 0;           // so many directed requests are answered with "busy" first
  double period_s = 0.1;  // of its own message, PGN 0xFF21; 0: none
};

class Party {
 public:
  Party(PartyPlan plan, std::FILE* received);

  /// Binds and claims; nothing else may be sent for 250 ms.
  void claim();
  /// Takes all that waits: answers requests, defends the address or moves on.
  void listen(bool answer);
  void send_cyclic();
  void send_faults();
  /// Gives the address back: "cannot claim" from the null address.
  void leave();

  int fd() const { return fd_; }
  const PartyPlan& plan() const { return plan_; }
  bool has_address() const { return has_address_; }

 private:
  bool send(std::uint32_t pgn, std::uint8_t to, const std::vector<std::uint8_t>& data);
  void answer(std::uint32_t pgn, std::uint8_t from, bool directed);
  void acknowledge(unsigned control, std::uint32_t pgn, std::uint8_t from);
  void take_claim(std::uint8_t from, const std::vector<std::uint8_t>& data);
  void bind_to(std::uint8_t address);
  std::vector<std::uint8_t> text_of(std::uint32_t pgn) const;
  std::vector<std::uint8_t> fault_message() const;

  PartyPlan plan_;
  std::FILE* received_;
  int fd_ = -1;
  bool has_address_ = false;
  int busy_left_ = 0;
  std::uint8_t counter_ = 0;
};

/// Sends one message of any size by the party's NAME from a socket of its own and waits for its end.
/// Empty: it arrived (or, to all, went out); else what happened.
std::string send_and_wait(const PartyPlan& plan, std::uint32_t pgn, std::uint8_t to,
                          const std::vector<std::uint8_t>& data);

}  // namespace live
