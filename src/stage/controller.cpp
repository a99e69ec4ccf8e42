#include "stage/controller.hpp"

#include <algorithm>

#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

constexpr Pgn kClaim = 0xEE00, kRequest = 0xEA00;
constexpr SpanNs kClaimWait = 250 * kMillisecond;  // fact sheet 3.2
constexpr SpanNs kRtxdUnit = 600 * kMicrosecond;   // RTxD = 0..255 of these
constexpr SpanNs kViolationPause = 5 * kSecond;    // claims on address violation are not repeated faster
constexpr unsigned kFirstFreeAddress = 128, kLastFreeAddress = 235;
constexpr unsigned kNetworkPriority = 6;

}  // namespace

Controller::Controller(World& world, std::uint32_t index, const ControllerSpec& spec)
    : world_(world),
      spec_(spec),
      index_(index),
      address_(spec.address),
      software_(spec.software),
      random_(seed_for(world.scenario.seed, spec.label)) {}

SpanNs Controller::rtxd() {
  return random_.between(0, 255) * kRtxdUnit;
}

void Controller::later(SpanNs delay, std::function<void()> call) {
  world_.agenda.call_at(world_.now() + delay, [this, epoch = epoch_, call = std::move(call)] {
    if (epoch == epoch_) call();
  });
}

void Controller::send(const WireFrame& frame, Hook hook) {
  world_.send(index_, spec_.bus, frame, std::move(hook));
}

void Controller::send_message(unsigned priority, Pgn pgn, Address destination,
                              const std::vector<std::uint8_t>& data, Hook hook) {
  WireFrame frame;
  const bool nameless = state_ == State::refused || state_ == State::asking;
  frame.id = identifier(priority, pgn, nameless ? kNullAddress : address_, destination);
  frame.len = static_cast<std::uint8_t>(std::min<std::size_t>(data.size(), 8));
  std::copy_n(data.begin(), frame.len, frame.data);
  send(frame, std::move(hook));
}

void Controller::power_on(SpanNs boot) {
  if (powered()) return;
  if (power_cuts_ > 0) {
    wants_power_ = true;
    return;
  }
  ++epoch_;
  // Who forgets its address over a power-down wants another one.
  if (starts_ > 0 && starts_ <= spec_.later_addresses.size()) address_ = spec_.later_addresses[starts_ - 1];
  ++starts_;
  state_ = State::booting;
  known_.fill(0);
  knows_others_ = spec_.asks_for_claims;
  const SpanNs scatter = random_.between(0, 12'000) * kMicrosecond;  // no two boxes boot alike
  later(boot + scatter, [this] {
    if (!spec_.asks_for_claims) return choose_address();
    state_ = State::asking;
    send_request_for_claims();
    later(kClaimWait + rtxd(), [this] { choose_address(); });
  });
}

void Controller::cut_power() {
  if (power_cuts_++ > 0) return;
  const bool ran = powered();
  power_off();
  wants_power_ = ran;
}

void Controller::restore_power(SpanNs boot) {
  if (power_cuts_ == 0 || --power_cuts_ > 0 || !wants_power_) return;
  wants_power_ = false;
  power_on(boot);
}

void Controller::power_off() {
  wants_power_ = false;
  if (!powered()) return;
  ++epoch_;
  state_ = State::off;
  resting_until_ = 0;
  world_.streams.stop(index_);
}

void Controller::run_already() {
  ++epoch_;
  ++starts_;
  knows_others_ = true;
  state_ = State::claiming;  // so that nothing of the start-up is repeated
  become_operational();
}

void Controller::send_request_for_claims() {
  send_message(kNetworkPriority, kRequest, kGlobalAddress, pgn_bytes(kClaim));
}

Address Controller::free_address() const {
  for (unsigned address = kFirstFreeAddress; address <= kLastFreeAddress; ++address) {
    if (known_[address] == 0 && address != address_) return static_cast<Address>(address);
  }
  return kNullAddress;
}

void Controller::choose_address() {
  const std::uint64_t holder = known_[address_];
  if (holder != 0 && holder < spec_.name) return lose_address();
  send_claim();
}

void Controller::send_claim() {
  state_ = State::claiming;
  const std::uint32_t serial = ++claim_serial_;
  send_message(kNetworkPriority, kClaim, kGlobalAddress, claim_bytes(spec_.name));
  later(kClaimWait, [this, serial] {
    if (state_ == State::claiming && serial == claim_serial_) become_operational();
  });
}

void Controller::cannot_claim() {
  state_ = State::refused;
  world_.streams.stop(index_);
  later(rtxd(), [this] {
    if (state_ != State::refused) return;
    send_message(kNetworkPriority, kClaim, kGlobalAddress, claim_bytes(spec_.name), [this](const Sent& sent) {
      if (sent.recorded) world_.truth.refused(index_);
    });
  });
}

void Controller::lose_address() {
  world_.streams.stop(index_);
  if (self_configurable() && spec_.moves && !knows_others_) {  // first learn which addresses are taken
    knows_others_ = true;
    state_ = State::asking;
    send_request_for_claims();
    return later(kClaimWait + rtxd(), [this] { lose_address(); });
  }
  const Address other = self_configurable() && spec_.moves ? free_address() : kNullAddress;
  if (other == kNullAddress) return cannot_claim();
  address_ = other;
  send_claim();
}

void Controller::take_address(Address address) {
  if (!has_address()) return;
  world_.streams.stop(index_);
  address_ = address;
  send_claim();
}

void Controller::hear_claim(std::uint32_t, Address source, std::uint64_t name, bool first_claim) {
  for (std::uint64_t& known : known_) {
    if (known == name) known = 0;
  }
  if (source >= kNullAddress) return;
  known_[source] = name;
  if (has_address() && source == address_ && name != spec_.name) {
    if (name > spec_.name) {
      send_message(kNetworkPriority, kClaim, kGlobalAddress, claim_bytes(spec_.name));
      known_[source] = 0;
    } else {
      world_.truth.lost_address(index_, world_.recorder.stamp(world_.now()));
      lose_address();
      return;
    }
  }
  if (!operational() || !first_claim) return;
  for (const RequestSpec& request : spec_.requests) {
    if (!request.new_claims || world_.now() < operational_since_ + request.after) continue;
    if (!request.each) {
      const Controller* target = world_.find(request.to);
      if (target == nullptr || target->spec().name != name) continue;
    }
    later(2 * kSecond, [this, &request, name] {
      for (unsigned address = 0; address < kNullAddress; ++address) {
        if (known_[address] == name) ask(request, static_cast<Address>(address));
      }
    });
  }
}

void Controller::hear_violation() {
  if (!operational() || muted() || world_.now() - last_violation_claim_ < kViolationPause) return;
  last_violation_claim_ = world_.now();
  send_message(kNetworkPriority, kClaim, kGlobalAddress, claim_bytes(spec_.name));
  if (spec_.reports_violation) set_dtc(2000u + address_, 31);
}

void Controller::become_operational() {
  state_ = State::operational;
  operational_since_ = world_.now();
  world_.streams.start(index_);
  if (!spec_.already_running || world_.now() > 0) define_working_set();
  start_requests();
  if (!active_.empty() || spec_.dm1_always) {
    later(random_.between(50, 500) * kMillisecond, [this] { send_dm1(true); });
  }
}

}  // namespace tramlog::stage
