// Hostile address claims, requests and commanded addresses: whatever comes, the table of who is who stays in
// order.
#include <algorithm>
#include <array>
#include <cstdint>
#include <cstdlib>
#include <vector>

#include "isobus/acknowledgement.hpp"
#include "isobus/network.hpp"

using namespace tramlog;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

class Owners final : public NetworkSink {
 public:
  void on_claim(const Claim& claim) override { require(claim.controller >= 0); }
  void on_owner(BusIndex bus, Address address, ControllerId from, ControllerId to, TimeNs) override {
    require(owner_[bus][address] == from);
    owner_[bus][address] = to;
  }
  Owners() {
    for (auto& bus : owner_) bus.fill(kNobody);
  }
  std::array<std::array<ControllerId, 256>, 4> owner_;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Owners owners;
  Network network(owners);
  TimeNs now = 0;
  bool put_back = false;  // the clock
  std::uint64_t number = 0;
  // Twelve bytes an event: what, bus, address, time step, eight bytes of NAME.
  for (; size >= 12; data += 12, size -= 12) {
    const unsigned what = data[0] % 8;
    now += static_cast<SpanNs>(data[3]) * data[3] * kMillisecond;
    if (data[0] & 0x80) now -= 3 * kSecond;
    put_back = put_back || (data[0] & 0x80);
    Event event;
    event.time = now;
    event.number = ++number;
    event.bus = data[1] % 4;
    event.flags = kExtendedId;
    event.data = data + 4;
    event.len = what == 5 ? data[4] % 9 : 8;
    if (what == 6) {
      event.id = make_id(6, kPgnRequest, kNullAddress, data[2]);
      network.take_claim_request(event);
    } else if (what == 7) {
      std::array<std::uint8_t, 9> payload;
      std::copy_n(data + 4, 8, payload.begin());
      payload[8] = data[2];
      Message message;
      message.bus = event.bus;
      message.end = now;
      message.last_frame = number;
      message.data = Bytes(payload);
      network.take_commanded_address(message);
    } else if (what == 4) {
      network.take_unowned(event.bus, data[2], now, number);
    } else {
      event.id = make_id(6, kPgnAddressClaimed, data[2], kGlobalAddress);
      network.take_claim(event);
    }
  }

  const auto& all = network.controllers();
  require(all.size() <= Network::kMaxControllers);
  require(network.contests().size() <= Network::kMaxRecords &&
          network.duplicates().size() <= Network::kMaxRecords &&
          network.commands().size() <= Network::kMaxRecords);
  for (std::size_t i = 0; i < all.size(); ++i) {
    const ControlFunction& c = all[i];
    require(c.addresses.size() <= Network::kMaxIntervals);
    // What it holds now is what the table says, and only its last interval may be open.
    if (c.address != kNullAddress) {
      require(network.owner(c.bus, c.address) == static_cast<ControllerId>(i));
      require(!c.addresses.empty() && c.addresses.back().address == c.address && !c.addresses.back().end);
    }
    for (std::size_t k = 0; k < c.addresses.size(); ++k) {
      const AddressInterval& interval = c.addresses[k];
      require(!interval.end || *interval.end >= interval.start);
      if (k + 1 == c.addresses.size()) break;
      require(interval.end.has_value());
      require(put_back || *interval.end <= c.addresses[k + 1].start);
    }
  }
  for (BusIndex bus = 0; bus < 4; ++bus)
    for (unsigned address = 0; address < 256; ++address) {
      const ControllerId owner = network.owner(bus, static_cast<Address>(address));
      require(owner == owners.owner_[bus][address]);
      if (owner != kNobody) require(all[owner].address == address && all[owner].bus == bus);
    }
  return 0;
}
