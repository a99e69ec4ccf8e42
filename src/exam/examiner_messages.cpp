// What the examiner reads out of messages and notices.
#include <algorithm>

#include "exam/examiner_impl.hpp"
#include "isobus/acknowledgement.hpp"

namespace tramlog {
namespace {

constexpr Pgn kPgnWheelSpeed = 0xFE48;
constexpr Pgn kPgnEngineController1 = 0xF004;
constexpr Pgn kPgnHeartbeat = 0xF0E4;
constexpr Pgn kPgnVehiclePower = 0xFEF7;  // 65271, vehicle electrical power 1
constexpr Pgn kPgnToTerminal = 0xE700, kPgnFromTerminal = 0xE600;
constexpr std::uint8_t kHeartbeatFarewell = 255;  // sender stops on purpose (fact sheet 6.3)
constexpr std::size_t kMaxClearRequests = 256;
// A trouble code that vanishes this soon after a clear request was cleared by it.
constexpr SpanNs kClearWindow = 5 * kSecond;
// Error frames closer together than this are one burst.
constexpr SpanNs kBurstPause = kSecond;
// An answer to a request for address claimed comes at once; one that comes later than the settle time, from a
// controller that had been quiet, is the start-up claim of a restart (fact sheet 3.2).
// A starting unit waits the settle time of 250 ms after its own request, so what comes later than that, less
// a jitter, answers nobody.
constexpr SpanNs kPromptAnswer = kClaimSettle - 5 * kMillisecond;

}  // namespace

void Examiner::Impl::deliver(const Event& event, Stream& stream) {
  if (stream.pgn == kPgnAddressClaimed) return;  // taken already
  if (stream.fast_packet || Transfers::is_transport(stream.pgn))
    transfers_.take(event);
  else
    take_message(single_frame(event));
}

void Examiner::Impl::on_message(const Message& message) {
  take_message(message);
}

void Examiner::Impl::take_message(const Message& message) {
  BusWatch& bus = *buses_[message.bus];
  Party* voice = bus.voices[message.source];
  if (voice == nullptr) return;
  const Mark at{message.start, message.first_frame};
  if (ImplementWatch::wants(message.pgn)) implements_.take(message);
  if (BusClock::wants(message.pgn)) bus_clock_.take(message);
  if (MachineFacts::wants(message.pgn)) machine_facts_.take(message);
  switch (message.pgn) {
    case kPgnRequest:
      return take_request(message);
    case kPgnAcknowledgement:
      return take_acknowledgement(message);
    case kPgnCommandedAddress:
      return network_.take_commanded_address(message);
    case kPgnWorkingSetMaster:
    case kPgnWorkingSetMember:
      return working_sets_.take(message);
    case kPgnWheelSpeed:
      return take_key_switch(bus, message);
    case kPgnEngineController1:
      return take_engine_speed(bus, message);
    case kPgnVehiclePower:
      return take_supply_voltage(*voice, message);
    case kPgnToTerminal:
    case kPgnFromTerminal:
      return take_terminal_version(message);
    case kPgnHeartbeat:
      if (!message.data.empty() && message.data[0] == kHeartbeatFarewell) voice->farewell = at;
      return;
    case kPgnDm1:
      return take_trouble_codes(message, true);
    case kPgnDm2:
      return take_trouble_codes(message, false);
    case kPgnDm13:
      return take_broadcast_control(bus, message);
    case kPgnDm22:
      if (!message.data.empty() && (message.data[0] == 0x01 || message.data[0] == 0x11) &&
          clear_requests_.size() < kMaxClearRequests)
        clear_requests_.push_back({message.bus, message.source, message.destination, at});
      return;
    default:
      take_identity(*voice, message.pgn, message.data, at);
  }
}

void Examiner::Impl::take_request(const Message& message) {
  const auto wanted = parse_request(message.data);
  if (!wanted) return;
  BusWatch& bus = *buses_[message.bus];
  const Mark at{message.start, message.first_frame};
  if (message.destination < kNullAddress && message.source != message.destination)
    if (const Party* asked = bus.voices[message.destination]; asked != nullptr && asked->frames > 0)
      requests_.take_request(message.bus, message.source, message.destination, *wanted, *asked, at);
  if (*wanted == kPgnAddressClaimed) {
    Event frame;
    frame.bus = message.bus;
    frame.time = message.start;
    frame.number = message.first_frame;
    frame.id = make_id(6, kPgnRequest, message.source, message.destination);
    network_.take_claim_request(frame);
  } else if (*wanted == kPgnSoftwareIdentification) {
    if (message.destination == kGlobalAddress) {
      bus.asked_all_for_software = message.start;
      bus.asked_all_frame = message.first_frame;
    } else if (Party* asked = bus.voices[message.destination]) {
      asked->identity.asked = at;
      asked->identity.refusal.reset();
    } else {
      anonymous(message.bus, message.destination).identity.asked = at;
    }
  } else if (*wanted == kPgnDm3 || *wanted == kPgnDm11) {
    if (clear_requests_.size() >= kMaxClearRequests) clear_requests_.erase(clear_requests_.begin());
    clear_requests_.push_back({message.bus, message.source, message.destination, at});
  }
}

void Examiner::Impl::take_acknowledgement(const Message& message) {
  const auto answer = parse_acknowledgement(message.data);
  if (!answer) return;
  requests_.take_acknowledgement(message.bus, message.source, *answer);
  if (answer->kind == AcknowledgementKind::positive) return;
  if (answer->pgn != kPgnSoftwareIdentification) return;
  buses_[message.bus]->voices[message.source]->identity.refusal = answer->control;
}

void Examiner::Impl::take_trouble_codes(const Message& message, bool active) {
  const DtcList list = parse_dtcs(message.data);
  Party& voice = *buses_[message.bus]->voices[message.source];
  const Mark at{message.start, message.first_frame};
  if (active) voice.lamps = list.lamps;
  for (const Dtc& dtc : list.dtcs) {
    const auto same = [&](const DtcTrack& t) { return t.dtc.spn == dtc.spn && t.dtc.fmi == dtc.fmi; };
    auto track = std::find_if(voice.dtcs.begin(), voice.dtcs.end(), same);
    if (track == voice.dtcs.end()) {
      if (voice.dtcs.size() >= kMaxDtcsPerParty) {
        ++voice.dtcs_over_cap;
        continue;
      }
      DtcTrack fresh;
      fresh.first_active = at;
      fresh.from_dm2_only = !active;
      track = voice.dtcs.insert(voice.dtcs.end(), fresh);
    }
    track->dtc = dtc;
    if (!active) continue;
    if (track->from_dm2_only) {
      track->from_dm2_only = false;
      track->first_active = at;
    }
    if (!track->active) {
      ++track->activations;
      if (track->times.size() < DtcTrack::kMaxTimes) track->times.push_back(at);
    }
    track->active = true;
    track->cleared.reset();
    track->last_active = at;
  }
  if (!active || list.malformed) return;
  // What a DM1 does not name any more is cleared; a controller that falls silent clears nothing (fact
  // sheet 7.2).
  for (DtcTrack& track : voice.dtcs) {
    if (!track.active || track.last_active.frame == at.frame) continue;
    track.active = false;
    track.cleared = at;
    track.clear_requested_by.reset();
    for (auto it = clear_requests_.rbegin(); it != clear_requests_.rend(); ++it)
      if (it->bus == message.bus && at.time - it->at.time <= kClearWindow &&
          (it->to == message.source || it->to == kGlobalAddress)) {
        track.clear_requested_by = it->by;
        break;
      }
  }
}

void Examiner::Impl::take_key_switch(BusWatch& bus, const Message& message) {
  if (message.data.size() < 8) return;
  const unsigned key = message.data[7] >> 2 & 3;  // B8 bits 3-4: 0 off, 1 on, 2 error, 3 not available
  if (key > 1) return;
  const bool on = key == 1;
  if (bus.key && bus.key->on == on) return;
  const Party* voice = bus.voices[message.source];
  const bool stood = !bus.key && voice != nullptr && voice->known_before;
  bus.key = KeySwitch{message.start, message.first_frame, on, stood};
  if (bus.key_changes.size() < BusWatch::kMaxGaps)
    bus.key_changes.push_back(*bus.key);
  else
    ++bus.over_cap;
}

void Examiner::Impl::take_engine_speed(BusWatch& bus, const Message& message) {
  if (message.data.size() < 5) return;
  const unsigned raw = load_le16(message.data.data() + 3);  // B4-5, SPN 190, 0.125 rpm a bit
  if (raw > 0xFAFF) return;
  constexpr unsigned kStandstill = 50 * 8;
  const bool runs = raw >= kStandstill;
  if (bus.engine_runs && *bus.engine_runs != runs) {
    auto& marks = runs ? bus.engine_starts : bus.engine_stops;
    if (marks.size() < BusWatch::kMaxGaps)
      marks.push_back({message.start, message.first_frame});
    else
      ++bus.over_cap;
  }
  bus.engine_runs = runs;
  bus.engine_told = {message.start, message.first_frame};
}

// Working set maintenance: B1 FF, B3 the VT version that the client is built for. Answer to get memory: B1
// C0, B2 the VT's own (fact sheet 6.4).
void Examiner::Impl::take_terminal_version(const Message& message) {
  const Bytes data = message.data;
  if (data.size() < 8 || message.destination == kGlobalAddress) return;
  const bool client = message.pgn == kPgnToTerminal && data[0] == 0xFF;
  const bool terminal = message.pgn == kPgnFromTerminal && data[0] == 0xC0;
  const unsigned version = client ? data[2] : data[1];
  if ((!client && !terminal) || version == 0 || version == 0xFF) return;
  const Address own = client ? message.source : message.destination;
  const Address other = client ? message.destination : message.source;
  auto found =
      std::find_if(terminal_versions_.begin(), terminal_versions_.end(), [&](const TerminalVersion& v) {
        return v.bus == message.bus && v.client == own && v.terminal == other;
      });
  if (found == terminal_versions_.end()) {
    if (terminal_versions_.size() >= kMaxVersions) return;
    found = terminal_versions_.insert(found, TerminalVersion{message.bus, own, other, 0, 0, {}});
  }
  unsigned& told = client ? found->client_version : found->terminal_version;
  if (told == version) return;
  told = version;
  found->at = {message.start, message.first_frame};
}

void Examiner::Impl::take_broadcast_control(BusWatch& bus, const Message& message) {
  if (message.data.empty()) return;
  // B1 bits 7-8 the current data link, bits 1-2 the first network: 0 stop, 1 start (fact sheet 7.6).
  const unsigned here = message.data[0] >> 6 & 3;
  const unsigned first_network = message.data[0] & 3;
  const bool stop = here == 0 || first_network == 0;
  const bool start = here == 1 || first_network == 1;
  const Mark at{message.start, message.first_frame};
  Suspension* open =
      bus.suspensions.empty() || bus.suspensions.back().end ? nullptr : &bus.suspensions.back();
  if (stop && open == nullptr) {
    if (bus.suspensions.size() < BusWatch::kMaxGaps)
      bus.suspensions.push_back({at, message.source, at.time, std::nullopt});
    else
      ++bus.over_cap;
  } else if (open != nullptr) {
    open->last_word = at.time;
    if (start && !stop) open->end = at.time;
  }
}

void Examiner::Impl::on_transfer_end(const TransferEnd& end) {
  const auto protocol = static_cast<std::size_t>(end.protocol) - 1;
  ++transfer_summary_.counts[protocol][static_cast<std::size_t>(end.outcome)];
  if (end.outcome == TransferOutcome::complete || end.outcome == TransferOutcome::unfinished) return;
  implements_.take_failed_transfer(end);
  if (end.pgn == kPgnSoftwareIdentification)
    if (Party* voice = buses_[end.bus]->voices[end.source])
      voice->identity.broken_off = Mark{end.start, end.first_frame};
  if (transfer_summary_.failed.size() < kMaxFailedTransfers)
    transfer_summary_.failed.push_back(end);
  else
    ++transfer_summary_.failed_not_listed;
}

void Examiner::Impl::on_claim(const Claim& claim) {
  Party& party = party_of(claim.controller);
  const Mark at{claim.time, claim.frame};
  const bool prompt = claim.since_request >= 0 && claim.since_request <= kPromptAnswer;
  const bool answers = claim.kind == ClaimKind::answer || claim.kind == ClaimKind::first;
  const bool starts =
      claim.kind == ClaimKind::unprompted || claim.kind == ClaimKind::move || (answers && !prompt);
  if (party.frames == 0) {
    party.first = at;
    if (party.known_before) (starts ? party.began_with_claim : party.began_claim_to_weigh) = starts || answers;
    if (claim.kind != ClaimKind::cannot) return;
  }
  if (claim.kind == ClaimKind::cannot) {
    // The null address belongs to nobody; the frame is booked here.
    party.last = at;
    ++party.frames;
    return;
  }
  if (!starts && !answers) return;
  if (starts) implements_.take_start(claim.controller, at);
  if (party.silent || party.returning) {
    if (starts)
      party.returned_with_claim = true;
    else if (party.silent)
      party.claim_to_weigh = true;
    return;
  }
  // Too short for the watch, but a claim after a pause in its rhythm is a restart all the same.
  SpanNs fastest = 0;
  for (const Stream* stream : party.streams)
    if (rhythmic(*stream))
      fastest = fastest == 0 ? period_of(*stream) : std::min(fastest, period_of(*stream));
  if (fastest == 0)
    for (const Party::Retired& retired : party.retired) {
      const SpanNs period = retired.pace.period();
      if (period > 0) fastest = fastest == 0 ? period : std::min(fastest, period);
    }
  const SpanNs quiet = claim.time - party.last.time;
  const auto late =
      std::max<SpanNs>(static_cast<SpanNs>(kLatePeriods * static_cast<double>(fastest)), kClaimSettle);
  // Who starts asks for all claims first, so that its own looks like an answer: late, and after a message
  // that never came.
  const SpanNs missed = fastest > 0 ? std::max<SpanNs>(kClaimSettle, fastest * 13 / 10) : kSecond;
  if (fastest > 0 && quiet > late) {
    fall_silent(party);
    // An answer is weighed by the quiet after it, which a slow rhythm does not show: then those who fell silent with
    // it decide (verdict_of).
    party.silence.answered = !starts && fastest > kClaimSettle;
    party.returned_with_claim = starts;
    party.claim_to_weigh = !starts;
  } else if (claim.kind == ClaimKind::unprompted || (starts && answers && quiet > missed)) {
    ++party.restarts;
    party.last_restart = at;
    if (party.restart_times.size() < Party::kMaxRestartTimes) party.restart_times.push_back(at);
    for (Stream* stream : party.streams) stream->skip_gap = true;
  }
}

void Examiner::Impl::note_loss(BusIndex bus, TimeNs from, TimeNs to) {
  transfers_.note_loss(bus, from, to);
  requests_.note_loss(bus, from, to);
  implements_.take_blindness(bus, from, to);
}

void Examiner::Impl::open_damage() {
  for (auto& bus : buses_)
    if (bus->frames > 0 && !bus->damage_open) bus->damage_open = bus->last;
}

void Examiner::Impl::take_note(const Event& event, const RecorderNote& note) {
  using Kind = RecorderNote::Kind;
  if (note.kind == Kind::run_begins) {
    // Every segment of a run begins with this note.
    for (const RecorderRun& run : recorder_.runs)
      if (run.number == note.number && run.boot == note.boot) return;
    if (!recorder_.runs.empty())
      for (std::size_t i = 0; i < buses_.size(); ++i) {
        BusWatch& bus = *buses_[i];
        bus.hearing.take_new_run(bus.last, event.time);
        bus.statistics_since_frame = 0;
        if (bus.frames > 0) note_loss(static_cast<BusIndex>(i), bus.last, event.time);
      }
    if (recorder_.runs.size() < kMaxRuns)
      recorder_.runs.push_back({note.number, note.boot, event.time, std::nullopt, note.span, note.text});
    else
      ++recorder_.not_kept;
    return;
  }
  if (note.kind == Kind::run_ends) {
    if (!recorder_.runs.empty() && recorder_.runs.back().number == note.number)
      recorder_.runs.back().end = event.time;
    return;
  }
  if (note.kind == Kind::known) return take_known(event, note);
  if (note.kind == Kind::cut && note.boot == 1) take_cut(event, note);
  if (note.kind == Kind::lost && is_loss(lost_kind(note))) open_damage();  // as it was before somebody mended it
  const auto same_kind = [&](const RecordedNote& other) { return other.note.kind == note.kind; };
  const auto known = std::count_if(recorder_.notes.begin(), recorder_.notes.end(), same_kind);
  if (static_cast<std::size_t>(known) >= kMaxNotes) {
    ++recorder_.not_kept;
    // Where the recording broke off is worth more than the last of so many places before it.
    if (note.kind == Kind::lost && lost_kind(note) == Damage::Kind::breaks_off)
      *std::find_if(recorder_.notes.rbegin(), recorder_.notes.rend(), same_kind) = {event.time, event.bus, note};
    return;
  }
  recorder_.notes.push_back({event.time, event.bus, note});
}

void Examiner::Impl::take_notice(const Event& event) {
  if (const auto* damage = std::get_if<Damage>(event.notice)) {
    damaged_bytes_ += damage->bytes;
    const bool room = damage_.size() < kMaxDamage;
    if (!room) ++damage_over_cap_;
    // Where a file breaks off is worth more than the last of so many places before it.
    if (!room && damage->kind == Damage::Kind::breaks_off) damage_.pop_back();
    if (damage_.size() < kMaxDamage)
      damage_.push_back({damage->file, damage->offset, damage->bytes, damage->reason, event.time, damage->kind});
    // Nobody can say whose frames these were.
    if (is_loss(damage->kind)) open_damage();
    return;
  }
  if (const auto* note = std::get_if<RecorderNote>(event.notice)) return take_note(event, *note);
  BusWatch& bus = bus_of(event.bus);
  if (event.bus >= kMaxBuses) return;  // counters of several buses would contradict each other
  if (const auto* info = std::get_if<BusInfo>(event.notice)) {
    bus.info = *info;
  } else if (const auto* counters = std::get_if<Counters>(event.notice)) {
    const TimeNs lost_before = bus.hearing.lost_until();
    if (bus.statistics_mark != bus.last || bus.statistics_since_frame == 0) {
      bus.statistics_mark = bus.last;
      bus.statistics_since_frame = 0;
      bus.received_first = counters->received.value_or(0);
    }
    ++bus.statistics_since_frame;
    bus.received_last = counters->received.value_or(0);
    if (bus.damage_open) end_damage(bus, event);
    const TimeNs previous = bus.hearing.last_statistics();
    bus.hearing.take_counters(*counters, event.time, bus.frames + bus.error_frames + bus.foreign, bus.last);
    if (bus.hearing.lost_until() > lost_before) note_loss(event.bus, previous, bus.hearing.lost_until());
  } else if (const auto* link = std::get_if<LinkChange>(event.notice)) {
    bus.hearing.take_link(link->state, event.time);
    // A run says so at its begin, too.
    if (link->state == LinkState::up && bus.frames > 0) note_loss(event.bus, bus.last, event.time);
  } else if (const auto* lost = std::get_if<FramesLost>(event.notice)) {
    const TimeNs from = bus.frames > 0 ? bus.last : bus.first;
    bus.hearing.take_loss(lost->frames, from, event.time);
    note_loss(event.bus, from, event.time);
  }
}

void Examiner::Impl::take_error(const Event& event) {
  BusWatch& bus = bus_of(event.bus);
  ++bus.error_frames;
  const TimeNs lost_before = bus.hearing.lost_until();
  bus.hearing.take_error(event.id, event.data, event.len, event.time, bus.frames > 0 ? bus.last : event.time);
  if (bus.hearing.lost_until() > lost_before) note_loss(event.bus, bus.last, event.time);
  const SpanNs pause = bus.bursts.empty() ? 0 : event.time - bus.bursts.back().last.time;
  if (bus.bursts.empty() || pause > kBurstPause || pause < -kBurstPause) {
    if (bus.bursts.size() >= BusWatch::kMaxBursts) {
      ++bus.over_cap;
    } else {
      ErrorBurst burst;
      burst.first = {event.time, event.number};
      bus.bursts.push_back(burst);
    }
  }
  ErrorBurst& burst = bus.bursts.back();
  burst.last = {std::max(event.time, burst.first.time), event.number};
  ++burst.frames;
  burst.classes |= event.id;
  if (event.len >= 8) {
    burst.controller_bits |= event.data[1];
    burst.protocol_bits |= event.data[2];
    burst.transmit_errors = std::max(burst.transmit_errors, event.data[6]);
    burst.receive_errors = std::max(burst.receive_errors, event.data[7]);
  }
}

}  // namespace tramlog
