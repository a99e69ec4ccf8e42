#include "wire/claim_machine.hpp"

#include <utility>

#include "isobus/acknowledgement.hpp"
#include "isobus/network.hpp"
#include "isobus/transfers.hpp"

namespace tramlog {
namespace {

constexpr unsigned kPriority = 6;
constexpr const char* kSameName = "another unit on the bus has the same NAME";
constexpr std::uint64_t kFunction = 129, kSelfConfigurable = 1ull << 63;

}  // namespace

OutFrame request_frame(Pgn pgn, Address source, Address destination) {
  OutFrame frame;
  frame.id = make_id(kPriority, kPgnRequest, source, destination);
  frame.len = 3;
  for (unsigned i = 0; i < 3; ++i) frame.data[i] = static_cast<std::uint8_t>(pgn >> (8 * i));
  return frame;
}

Name service_tool_name(std::uint32_t manufacturer_code, std::uint32_t identity_number) {
  return Name((identity_number & 0x1FFFFFull) | (manufacturer_code & 0x7FFull) << 21 | kFunction << 40 |
              kSelfConfigurable);
}

ClaimMachine::ClaimMachine(Name name, std::function<std::uint8_t()> random_byte)
    : name_(name), random_byte_(std::move(random_byte)) {}

void ClaimMachine::start(TimeNs now) {
  if (state_ != ClaimState::idle) return;
  if (duplicate_) {
    state_ = ClaimState::refused;
    reason_ = kSameName;
    return;
  }
  state_ = ClaimState::asking;
  out_.push_back(request_frame(kPgnAddressClaimed, kNullAddress, kGlobalAddress));
  deadline_ = later_by(now, kSettle + delay());
}

void ClaimMachine::hear(const Event& frame) {
  if (!frame.is_iso11783()) return;
  const Address source = source_of(frame.id);
  const Pgn pgn = pgn_of(frame.id);
  if (pgn == kPgnAddressClaimed) {
    if (frame.len == 8) hear_claim(source, Name::from_claim(frame.data), frame.time);
    return;
  }
  if (source < kNullAddress) heard_[source] = true;
  if (pgn == kPgnRequest) {
    if (parse_request({frame.data, frame.len}) == kPgnAddressClaimed)
      hear_request(destination_of(frame.id), frame.time);
  }
  // A stranger talks from our address: it is told whose it is. The kernel acknowledges transfers from our
  // address, and its frames do not show that they were made here.
  const bool ours = state_ == ClaimState::claiming || state_ == ClaimState::holding;
  const bool kernels = (frame.flags & kOutbound) != 0 || Transfers::is_transport(pgn);
  if (ours && source == address_ && !kernels &&
      span_between(violation_told_, frame.time) >= kViolationPause) {
    violation_told_ = frame.time;
    send_claim(address_);
  }
}

void ClaimMachine::hear_claim(Address source, Name name, TimeNs now) {
  if (state_ == ClaimState::given_back) return;
  if (name == name_) {
    // Never our own echo, so somebody else has this NAME. Even "cannot claim" would take that unit's address
    // from it in the eyes of the others: not another word.
    duplicate_ = true;
    if (state_ == ClaimState::idle) return;
    state_ = ClaimState::refused;
    reason_ = kSameName;
    address_ = kNullAddress;
    deadline_.reset();
    refusal_due_.reset();
    out_.clear();
    return;
  }
  for (auto held = others_.begin(); held != others_.end();) {
    if (held->second != name) {
      ++held;
      continue;
    }
    heard_[held->first] = false;  // left that address
    held = others_.erase(held);
  }
  if (source >= kNullAddress) return;
  heard_[source] = true;
  const bool contends =
      source == address_ && (state_ == ClaimState::claiming || state_ == ClaimState::holding);
  if (contends && name_ < name) {
    send_claim(address_);  // the lower NAME keeps the address
    return;
  }
  others_[source] = name;
  if (contends) claim_next(now);
}

void ClaimMachine::hear_request(Address destination, TimeNs now) {
  const bool ours = state_ == ClaimState::claiming || state_ == ClaimState::holding;
  if (ours && (destination == kGlobalAddress || destination == address_)) send_claim(address_);
  if (state_ == ClaimState::refused && !duplicate_ && destination == kGlobalAddress && !refusal_due_)
    deadline_ = refusal_due_ = later_by(now, delay());
}

void ClaimMachine::advance(TimeNs now) {
  if (!deadline_ || now < *deadline_) return;
  const TimeNs due = now;
  deadline_.reset();
  if (refusal_due_) {
    refusal_due_.reset();
    send_claim(kNullAddress);
  } else if (state_ == ClaimState::asking) {
    claim_next(due);
  } else if (state_ == ClaimState::claiming) {
    state_ = ClaimState::holding;
  }
}

void ClaimMachine::claim_next(TimeNs now) {
  const auto free = [&](Address address) { return !heard_[address] && !others_.contains(address); };
  std::optional<Address> next;
  for (const Address preferred : kPreferred)
    if (!next && free(preferred)) next = preferred;
  for (unsigned address = kFirstFree; !next && address <= kLastFree; ++address)
    if (free(static_cast<Address>(address))) next = static_cast<Address>(address);
  if (!next) return refuse(now, "all addresses for service tools are taken");
  state_ = ClaimState::claiming;
  address_ = *next;
  send_claim(address_);
  deadline_ = later_by(now, kSettle);
}

void ClaimMachine::refuse(TimeNs now, std::string reason) {
  state_ = ClaimState::refused;
  reason_ = std::move(reason);
  address_ = kNullAddress;
  deadline_ = refusal_due_ = later_by(now, delay());
}

void ClaimMachine::give_back() {
  const bool told = state_ == ClaimState::claiming || state_ == ClaimState::holding || refusal_due_;
  state_ = ClaimState::given_back;
  address_ = kNullAddress;
  deadline_.reset();
  refusal_due_.reset();
  if (told) send_claim(kNullAddress);
}

void ClaimMachine::send_claim(Address from) {
  OutFrame frame;
  frame.id = make_id(kPriority, kPgnAddressClaimed, from);
  frame.len = 8;
  for (unsigned i = 0; i < 8; ++i) frame.data[i] = static_cast<std::uint8_t>(name_.raw() >> (8 * i));
  out_.push_back(frame);
}

std::vector<OutFrame> ClaimMachine::take_frames() {
  return std::exchange(out_, {});
}

}  // namespace tramlog
