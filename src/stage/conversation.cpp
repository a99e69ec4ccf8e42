// The talking part of a controller: requests, answers, working sets, trouble codes, transfers.
#include <algorithm>

#include "stage/controller.hpp"
#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

constexpr Pgn kClaim = 0xEE00, kRequest = 0xEA00, kAcknowledge = 0xE800, kRepetitionRate = 0xCC00;
constexpr Pgn kDm1 = 0xFECA, kSoftware = 0xFEDA, kWorkingSetMaster = 0xFE0D, kWorkingSetMember = 0xFE0C;
constexpr Pgn kHeartbeat = 0xF0E4;
constexpr unsigned kDefaultPriority = 6, kWorkingSetPriority = 7;
constexpr std::uint8_t kNack = 1, kDenied = 2, kBusy = 3;
constexpr SpanNs kMemberGap = 100 * kMillisecond;

bool holds(const std::vector<Pgn>& list, Pgn pgn) {
  return std::find(list.begin(), list.end(), pgn) != list.end();
}

}  // namespace

void Controller::define_working_set() {
  if (spec_.working_set.empty()) return;
  const auto members = static_cast<std::uint8_t>(spec_.working_set.size() + 1);
  SpanNs delay = 50 * kMillisecond;
  later(delay, [this, members] {
    send_message(kWorkingSetPriority, kWorkingSetMaster, kGlobalAddress,
                 {members, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  });
  for (const std::string& label : spec_.working_set) {
    delay += kMemberGap;
    const std::uint64_t name = world_.find(label)->spec().name;
    later(delay, [this, name] {
      send_message(kWorkingSetPriority, kWorkingSetMember, kGlobalAddress, claim_bytes(name));
    });
  }
}

void Controller::start_requests() {
  for (const RequestSpec& request : spec_.requests) {
    later(request.after, [this, &request] { ask_each(request); });
  }
}

void Controller::ask_each(const RequestSpec& request) {
  if (!operational()) return;
  if (request.every) later(*request.every, [this, &request] { ask_each(request); });
  if (request.global) return ask(request, kGlobalAddress);
  if (!request.each) {
    const Controller* target = world_.find(request.to);
    if (target->has_address() || target->spec().absent) ask(request, target->address());
    return;
  }
  SpanNs delay = 0;
  for (unsigned address = 0; address < kNullAddress; ++address) {
    if (known_[address] == 0 || address == address_) continue;
    later(delay, [this, &request, address] { ask(request, static_cast<Address>(address)); });
    delay += request.spacing;
  }
}

void Controller::ask(const RequestSpec& request, Address destination) {
  if (!operational()) return;
  std::vector<std::uint8_t> data = pgn_bytes(request.pgn);
  if (!request.rate_ms) return send_message(kDefaultPriority, kRequest, destination, data);
  data.push_back(static_cast<std::uint8_t>(*request.rate_ms));
  data.push_back(static_cast<std::uint8_t>(*request.rate_ms >> 8));
  data.resize(8, 0xFF);
  send_message(kDefaultPriority, kRepetitionRate, destination, data);
}

void Controller::hear_rate_request(Address, Address destination, Pgn pgn, unsigned rate_ms) {
  if (!operational() || destination != address_ || pgn != kHeartbeat) return;
  world_.streams.start_heartbeat(index_, rate_ms * kMillisecond);
}

void Controller::hear_request(Address source, Address destination, Pgn pgn) {
  const bool to_all = destination == kGlobalAddress;
  const bool to_me = has_address() && destination == address_;
  if (!to_all && !to_me) return;
  if (pgn == kClaim) {
    if (has_address()) {
      later(random_.between(1, 10) * kMillisecond, [this] {
        if (has_address()) send_message(6, kClaim, kGlobalAddress, claim_bytes(spec_.name));
      });
    } else if (state_ == State::refused) {
      later(rtxd(), [this] {
        if (state_ == State::refused) send_message(6, kClaim, kGlobalAddress, claim_bytes(spec_.name));
      });
    }
    return;
  }
  if (!operational() || holds(spec_.ignored, pgn)) return;
  const SpanNs think = spec_.answer_time + random_.between(0, 5'000) * kMicrosecond;
  later(think, [this, source, to_all, pgn] {
    if (!operational()) return;
    std::uint8_t refusal = 0;
    if (holds(spec_.busy, pgn)) {
      refusal = kBusy;
    } else if (holds(spec_.denied, pgn)) {
      refusal = kDenied;
    } else if (!answer(source, to_all, pgn) && spec_.nacks) {
      refusal = kNack;
    }
    if (refusal != 0 && !to_all) acknowledge(refusal, source, pgn);
  });
}

void Controller::acknowledge(std::uint8_t control, Address requester, Pgn pgn) {
  std::vector<std::uint8_t> data = {control, 0xFF, 0xFF, 0xFF, requester};
  for (const std::uint8_t byte : pgn_bytes(pgn)) data.push_back(byte);
  send_message(kDefaultPriority, kAcknowledge, kGlobalAddress, data);
}

bool Controller::answer(Address requester, bool to_all, Pgn pgn) {
  if (pgn == kDm1) {
    send_dm1(false);
    return true;
  }
  if (pgn == kSoftware && !software_.empty()) {
    give(pgn, encode_software(software_, spec_.software_form), requester, to_all,
         [this, texts = software_](TimeNs stamp) { world_.truth.software_reported(index_, texts, stamp); });
    return true;
  }
  for (const AnswerSpec& known : spec_.answers) {
    if (known.pgn != pgn) continue;
    give(pgn, known.payload, requester, to_all, {});
    return true;
  }
  return world_.streams.send_once(index_, pgn);
}

void Controller::give(Pgn pgn, std::vector<std::uint8_t> payload, Address requester, bool to_all,
                      std::function<void(TimeNs)> given) {
  if (payload.size() <= 8) {
    return send_message(kDefaultPriority, pgn, to_all ? kGlobalAddress : requester, payload,
                        [given = std::move(given)](const Sent& sent) {
                          if (sent.recorded && given) given(sent.stamp);
                        });
  }
  TransferSpec transfer;
  transfer.pgn = pgn;
  const Controller* receiver = to_all ? nullptr : world_.holder(spec_.bus, requester);
  transfer.carrier = receiver ? Carrier::rts_cts : Carrier::bam;
  world_.desk.start(index_, receiver ? receiver->index() : kNobody, transfer, std::move(payload),
                    [given = std::move(given)](Outcome outcome, TimeNs stamp) {
                      if (outcome == Outcome::complete && given) given(stamp);
                    });
}

void Controller::set_dtc(std::uint32_t spn, std::uint8_t fmi) {
  const auto same = [&](const ActiveDtc& dtc) { return dtc.spn == spn && dtc.fmi == fmi; };
  if (std::any_of(active_.begin(), active_.end(), same)) return;
  auto past = std::find_if(history_.begin(), history_.end(), same);
  if (past == history_.end()) past = history_.insert(history_.end(), {spn, fmi, 0});
  if (past->occurrence_count < 126) ++past->occurrence_count;
  active_.push_back(*past);
  send_dm1(true);
}

void Controller::clear_dtc(std::uint32_t spn, std::uint8_t fmi) {
  const auto removed =
      std::erase_if(active_, [&](const ActiveDtc& dtc) { return dtc.spn == spn && dtc.fmi == fmi; });
  if (removed > 0) send_dm1(true);
}

// ISO 11783: at once on a change, every second while anything is active, once more when all is gone.
void Controller::send_dm1(bool repeat) {
  if (!operational()) return;
  const auto snapshot = active_;
  give(kDm1, encode_dm1(snapshot), kGlobalAddress, true, [this, snapshot](TimeNs stamp) {
    for (const ActiveDtc& dtc : snapshot) {
      world_.truth.dtc_active(index_, dtc.spn, dtc.fmi, dtc.occurrence_count, stamp);
    }
    for (const ActiveDtc& past : history_) {
      const bool there = std::any_of(snapshot.begin(), snapshot.end(), [&](const ActiveDtc& dtc) {
        return dtc.spn == past.spn && dtc.fmi == past.fmi;
      });
      if (!there) world_.truth.dtc_cleared(index_, past.spn, past.fmi, stamp);
    }
  });
  if (!repeat) return;
  const std::uint32_t serial = ++dm1_serial_;
  if (active_.empty() && !spec_.dm1_always) return;
  later(kSecond, [this, serial] {
    if (serial == dm1_serial_) send_dm1(true);
  });
}

void Controller::start_transfer(const TransferSpec& transfer) {
  if (!operational()) return;
  std::uint32_t receiver = kNobody;
  if (!transfer.to.empty()) {
    const Controller* target = world_.find(transfer.to);
    if (!target->has_address()) return;  // no partner, no transfer
    receiver = target->index();
  }
  std::vector<std::uint8_t> payload = transfer.payload;
  while (payload.size() < transfer.size) payload.push_back(static_cast<std::uint8_t>(random_.next()));
  world_.desk.start(index_, receiver, transfer, std::move(payload));
}

}  // namespace tramlog::stage
