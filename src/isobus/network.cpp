#include "isobus/network.hpp"

#include <algorithm>

namespace tramlog {
namespace {
// A loser has this long to show where it goes: RTxD of up to 153 ms, then a claim of its own.
constexpr SpanNs kContestWindow = 1250 * kMillisecond;
constexpr SpanNs kCommandWindow = 5 * kSecond;
// Frames already queued in the sender may still come after a move.
constexpr SpanNs kMoveSettle = kClaimSettle;
}  // namespace

Network::Bus& Network::bus(BusIndex index) {
  while (buses_.size() <= index) buses_.push_back(std::make_unique<Bus>());
  return *buses_[index];
}

ControllerId Network::owner(BusIndex index, Address address) const {
  return index < buses_.size() ? buses_[index]->slots[address].owner : kNobody;
}

std::optional<TimeNs> Network::asked_all(BusIndex index) const {
  if (index >= buses_.size() || buses_[index]->requested == kNever) return std::nullopt;
  return buses_[index]->requested;
}

ControllerId Network::find_or_add(Name name, const Event& frame, bool& added) {
  const auto key = std::make_pair(frame.bus, name.raw());
  added = false;
  if (const auto found = index_.find(key); found != index_.end()) return found->second;
  if (controllers_.size() >= kMaxControllers) {
    ++over_cap_;
    return kNobody;
  }
  added = true;
  ControlFunction fresh;
  fresh.name = name;
  fresh.bus = frame.bus;
  fresh.first_claim = frame.time;
  fresh.first_claim_frame = frame.number;
  controllers_.push_back(fresh);
  const auto id = static_cast<ControllerId>(controllers_.size() - 1);
  index_.emplace(key, id);
  return id;
}

void Network::set_owner(BusIndex index, Address address, ControllerId to, TimeNs time) {
  Slot& slot = bus(index).slots[address];
  const ControllerId from = slot.owner;
  if (from == to) return;
  slot.owner = to;
  sink_.on_owner(index, address, from, to, time);
}

void Network::end_interval(ControllerId id, TimeNs time) {
  ControlFunction& controller = controllers_[id];
  if (controller.address == kNullAddress) return;
  // The recorder's clock may have been put back meanwhile; an interval never ends before it begins.
  if (!controller.addresses.empty() && !controller.addresses.back().end)
    controller.addresses.back().end = std::max(time, controller.addresses.back().start);
  Slot& slot = bus(controller.bus).slots[controller.address];
  if (slot.owner == id) set_owner(controller.bus, controller.address, kNobody, time);
  controller.address = kNullAddress;
}

void Network::begin_interval(ControllerId id, Address address, const Event& frame) {
  ControlFunction& controller = controllers_[id];
  controller.address = address;
  auto& intervals = controller.addresses;
  // A holder that defends its address had it all along: its interval goes on.
  const bool resumes = !intervals.empty() && intervals.back().address == address && intervals.back().end &&
                       frame.time - *intervals.back().end <= kContestWindow &&
                       open_contest(frame.bus, address, frame.time) != nullptr;
  if (resumes) {
    intervals.back().end.reset();
  } else if (intervals.size() < kMaxIntervals) {
    intervals.push_back({address, frame.time, std::nullopt, frame.number});
  } else {
    ++over_cap_;
    intervals.back() = {address, frame.time, std::nullopt, frame.number};
  }
  set_owner(frame.bus, address, id, frame.time);
}

AddressContest* Network::open_contest(BusIndex index, Address address, TimeNs time) {
  for (auto it = contests_.rbegin(); it != contests_.rend(); ++it)
    if (it->bus == index && it->address == address) return time - it->last <= kContestWindow ? &*it : nullptr;
  return nullptr;
}

void Network::contest(ControllerId holder, ControllerId challenger, const Event& frame, Address address) {
  AddressContest* open = open_contest(frame.bus, address, frame.time);
  const bool same_pair = open && ((open->holder == holder && open->challenger == challenger) ||
                                  (open->holder == challenger && open->challenger == holder));
  if (same_pair) {
    ++open->rounds;
    open->last = frame.time;
    open->last_frame = frame.number;
    open->answered = true;
    // The loser by NAME claims again instead of leaving.
    const ControllerId loser = controllers_[open->holder].name < controllers_[open->challenger].name
                                   ? open->challenger
                                   : open->holder;
    if (loser == challenger && open->rounds > 2) open->fate = LoserFate::insists;
    return;
  }
  if (contests_.size() >= kMaxRecords) {
    ++over_cap_;
    return;
  }
  AddressContest fresh;
  fresh.bus = frame.bus;
  fresh.address = address;
  fresh.holder = holder;
  fresh.challenger = challenger;
  fresh.start = fresh.last = frame.time;
  fresh.first_frame = fresh.last_frame = frame.number;
  contests_.push_back(fresh);
}

void Network::settle_loser(ControllerId id, const Event& frame, std::optional<Address> moved_to) {
  for (auto it = contests_.rbegin(); it != contests_.rend(); ++it) {
    if (it->bus != frame.bus || frame.time - it->last > kContestWindow) continue;
    if (it->holder != id && it->challenger != id) continue;
    if (moved_to && *moved_to == it->address) continue;
    it->fate = moved_to ? LoserFate::moved : LoserFate::cannot_claim;
    it->moved_to = moved_to;
    it->answered = true;
    it->last_frame = frame.number;
    return;
  }
}

void Network::note_duplicate(ControllerId id, BusIndex index, Address quiet, TimeNs time,
                             std::uint64_t frame) {
  const auto same = [&](const DuplicateName& d) { return d.controller == id; };
  auto found = std::find_if(duplicates_.begin(), duplicates_.end(), same);
  if (found == duplicates_.end()) {
    if (duplicates_.size() >= kMaxRecords) {
      ++over_cap_;
      return;
    }
    DuplicateName fresh;
    fresh.controller = id;
    fresh.bus = index;
    fresh.first_address = quiet;
    fresh.second_address = controllers_[id].address;
    fresh.start = time;
    fresh.first_frame = frame;
    found = duplicates_.insert(duplicates_.end(), fresh);
  }
  found->last = time;
  ++found->frames;
}

SpanNs Network::since_request(const Bus& b, Address address, TimeNs time) const {
  const TimeNs latest = std::max(b.requested, b.slots[address].requested);
  const SpanNs span = time - latest;
  return span >= 0 && span <= kClaimAnswerWindow ? span : -1;
}

void Network::take_claim(const Event& frame) {
  const Address address = source_of(frame.id);
  if (frame.len != 8 || address == kGlobalAddress) {
    ++malformed_claims_;
    return;
  }
  bool added = false;
  const ControllerId id = find_or_add(Name::from_claim(frame.data), frame, added);
  if (id == kNobody) return;

  Claim claim;
  claim.controller = id;
  claim.bus = frame.bus;
  claim.address = address;
  claim.time = frame.time;
  claim.frame = frame.number;
  claim.kind = added ? ClaimKind::first : ClaimKind::unprompted;

  const SpanNs since_last_claim = added ? INT64_MAX : frame.time - controllers_[id].last_claim;
  const Address before = controllers_[id].address;
  if (address == kNullAddress) {
    claim.kind = ClaimKind::cannot;
    settle_loser(id, frame, std::nullopt);
    end_interval(id, frame.time);
  } else {
    claim.since_request = since_request(bus(frame.bus), address, frame.time);
    const ControllerId held_by = owner(frame.bus, address);
    if (held_by != kNobody && held_by != id) {
      contest(held_by, id, frame, address);
      end_interval(held_by, frame.time);
    }
    const AddressContest* open = open_contest(frame.bus, address, frame.time);
    const bool contested = open && (open->holder == id || open->challenger == id);
    if (before == address) {
      if (claim.since_request >= 0)
        claim.kind = ClaimKind::answer;
      else if (contested)
        claim.kind = ClaimKind::contest;
    } else {
      // Whoever opens the contest comes (back) as a challenger; only a claim after that defends.
      const bool defends =
          before == kNullAddress && contested && open->rounds > 1 && held_by != kNobody && !added;
      if (!added) claim.kind = defends ? ClaimKind::contest : ClaimKind::move;
      if (before != kNullAddress) {
        // Going back to the address it has just left: two boxes with one NAME pull at it.
        Slot& there = bus(frame.bus).slots[address];
        const bool went_back = there.moved_away == id && frame.time - there.moved_at < 10 * kSecond;
        if (went_back) note_duplicate(id, frame.bus, address, frame.time, frame.number);
        Slot& left = bus(frame.bus).slots[before];
        left.moved_away = id;
        left.moved_at = frame.time;
      }
      settle_loser(id, frame, address);
      end_interval(id, frame.time);
      begin_interval(id, address, frame);
    }
    for (CommandedAddress& command : commands_)
      if (command.bus == frame.bus && command.target == controllers_[id].name && command.address == address &&
          frame.time - command.time <= kCommandWindow)
        command.obeyed = true;
  }

  ControlFunction& controller = controllers_[id];
  ++controller.claims;
  controller.last_claim = frame.time;
  controller.last_claim_frame = frame.number;
  controller.refused = claim.kind == ClaimKind::cannot;
  if (controller.refused) {
    controller.refused_at = frame.time;
    controller.refused_frame = frame.number;
  }
  if (claim.kind == ClaimKind::unprompted) {
    ++controller.unprompted_claims;
    if (since_last_claim < kClaimSettle) ++controller.double_claims;
  }
  sink_.on_claim(claim);
}

ControllerId Network::take_known(BusIndex index, Name name, Address address, TimeNs time) {
  Event at;
  at.time = time;
  at.bus = index;
  bool added = false;
  const ControllerId id = find_or_add(name, at, added);
  if (id == kNobody || controllers_[id].address == address) return id;
  end_interval(id, time);
  if (address >= kNullAddress) {
    controllers_[id].refused = true;
    controllers_[id].refused_at = time;
    return id;
  }
  if (const ControllerId held_by = owner(index, address); held_by != kNobody) end_interval(held_by, time);
  begin_interval(id, address, at);
  return id;
}

void Network::take_claim_request(const Event& frame) {
  const Address to = destination_of(frame.id);
  Bus& b = bus(frame.bus);
  (to == kGlobalAddress ? b.requested : b.slots[to].requested) = frame.time;
}

void Network::take_commanded_address(const Message& message) {
  if (message.data.size() < 9) return;
  if (commands_.size() >= kMaxRecords) {
    ++over_cap_;
    return;
  }
  CommandedAddress command;
  command.bus = message.bus;
  command.by = message.source;
  command.target = Name::from_claim(message.data.data());
  command.address = message.data[8];
  command.time = message.end;
  command.frame = message.last_frame;
  commands_.push_back(command);
}

void Network::take_unowned(BusIndex index, Address address, TimeNs time, std::uint64_t frame) {
  const Slot& slot = bus(index).slots[address];
  if (slot.moved_away == kNobody || time - slot.moved_at <= kMoveSettle) return;
  if (controllers_[slot.moved_away].address == kNullAddress) return;
  note_duplicate(slot.moved_away, index, address, time, frame);
}

}  // namespace tramlog
