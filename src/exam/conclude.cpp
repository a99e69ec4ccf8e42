#include "exam/conclude.hpp"

#include <algorithm>

#include "exam/check.hpp"
#include "exam/checks/table.inc"
#include "exam/findings.hpp"
#include "exam/rates.hpp"
#include "exam/story.hpp"

namespace tramlog {
namespace {
constexpr std::uint32_t kGapsOfPace = 20;  // fewer do not tell a pace

// Without the times in which no frame at all could be written; spans are sorted by their start.
double heard_seconds(const std::vector<BlindSpan>& spans, double seconds) {
  double heard = seconds;
  TimeNs until = INT64_MIN;
  for (const BlindSpan& span : spans) {
    if (span.kind == Deafness::frames_lost || span.end <= until) continue;
    heard -= to_seconds(span_between(std::max(span.start, until), span.end));
    until = span.end;
  }
  return heard > 0 ? heard : seconds;
}
}  // namespace

Conclusions Examiner::Impl::conclude(const std::optional<Roster>& roster, const CauseWeights& weights) {
  tick();
  transfers_.finish(now_);
  return Conclude(*this).run(roster, weights);
}

std::optional<std::size_t> Conclude::index_of(const Party* party) const {
  const auto found = index_.find(party);
  return found == index_.end() ? std::nullopt : std::make_optional(found->second);
}

Conclusions Conclude::run(const std::optional<Roster>& roster, const CauseWeights& weights) {
  out_.start = state_.start_;
  out_.end = state_.now_;
  // With a clock that was put back the latest time is not the last one.
  for (const ClockStep& step : state_.clock_steps_) {
    out_.start = std::min(out_.start, step.at.time);
    out_.end = std::max(out_.end, step.at.time + step.back);
  }
  out_.foreign = state_.foreign_;
  out_.short_frames = state_.short_frames_;
  out_.untimed = state_.untimed_;
  out_.damage = state_.damage_;
  out_.damaged_bytes = state_.damaged_bytes_;
  silences_ = state_.silences_;
  for (const Party& party : state_.parties_)
    if (party.silent || party.returning) {
      SilenceRecord open = party.silence;
      if (party.returning) {
        open.end = party.returned;
        open.unconfirmed = true;
      }
      silences_.push_back(open);
    }
  for (const auto& bus : state_.buses_)
    keys_.insert(keys_.end(), bus->key_changes.begin(), bus->key_changes.end());
  std::stable_sort(keys_.begin(), keys_.end(), [](const auto& a, const auto& b) { return a.time < b.time; });

  buses();
  controllers();
  unclaimed();
  trouble_codes();
  transfers();
  out_.recorder = state_.recorder_;
  out_.recorder.clock = state_.bus_clock_.comparison();
  bus_silences();
  dropouts();
  states();
  implements();
  out_.machine = state_.machine_facts_.record();
  series();
  observe();
  if (roster) {
    // Labels first: every sentence after this names controllers by them.
    out_.rollcall = call_the_roll(*roster, out_);
    for (const RollcallEntry& entry : out_.rollcall->entries)
      if (entry.controller) out_.controllers[*entry.controller].label = entry.label;
    for (const auto& [party, index] : index_)
      for (RollcallEntry& entry : out_.rollcall->entries) {
        const bool left_out = !state_.is_whole(*party), silent = party->known_before && party->frames == 0;
        if (entry.controller != index || entry.state != EntryState::present || !(left_out || silent)) continue;
        entry.unheard = true;
        entry.detail = left_out ? "left out of this slice" : "known from before this slice, not one frame of it here";
      }
    // The same NAME on another bus is the same unit.
    for (const RollcallEntry& entry : out_.rollcall->entries)
      if (entry.controller)
        for (ControllerRecord& twin : out_.controllers)
          if (twin.label.empty() && twin.name == out_.controllers[*entry.controller].name)
            twin.label = entry.label;
  }
  judge(weights);
  return std::move(out_);
}

void Conclude::buses() {
  for (const auto& watch : state_.buses_) {
    const BusWatch& bus = *watch;
    BusSummary summary;
    summary.name = bus.info.name;
    summary.frames = bus.frames;
    summary.error_frames = bus.error_frames;
    summary.bitrate_told = bus.info.bitrate > 0;
    summary.bitrate = summary.bitrate_told ? bus.info.bitrate : kDefaultBitrate;
    summary.eleven_bit = bus.eleven_bit;
    summary.remote = bus.remote;
    summary.fd = bus.fd;
    summary.has_statistics = bus.hearing.has_pace();
    Hearing hearing = bus.hearing;
    if (bus.damage_open && bus.frames > 0) hearing.take_damage(*bus.damage_open, state_.now_);
    hearing.take_gap(bus.last, state_.now_);
    hearing.finish(state_.now_);
    summary.blind = hearing.spans();
    const std::uint64_t bits = bus.total_bits + bus.window_bits;
    std::uint64_t peak = bus.peak_bits;
    summary.load_peak_at = bus.peak_at;
    if (bus.window_bits > peak) {
      peak = bus.window_bits;
      summary.load_peak_at = bus.window_end - kSecond;
    }
    const auto rate = static_cast<double>(summary.bitrate);
    const SpanNs length = out_.end - out_.start;
    // A clock that was put back makes the time between first and last event shorter than what was recorded.
    double seconds = to_seconds(state_.now_ - state_.start_);
    for (const ClockStep& step : state_.clock_steps_) seconds += to_seconds(step.back);
    seconds = heard_seconds(summary.blind, seconds);
    if (seconds > 0) summary.load_mean_pct = 100.0 * static_cast<double>(bits) / (rate * seconds);
    // A capture shorter than a window has no full second: its mean is its peak.
    summary.load_peak_pct =
        length >= kSecond ? 100.0 * static_cast<double>(peak) / rate : summary.load_mean_pct;
    out_.frames += bus.frames;
    out_.error_frames += bus.error_frames;
    out_.buses.push_back(std::move(summary));
  }
}

void Conclude::controllers() {
  const auto& known = state_.network_.controllers();
  std::vector<ControllerId> order;
  for (std::size_t i = 0; i < known.size(); ++i) order.push_back(static_cast<ControllerId>(i));
  const auto party = [&](ControllerId id) -> const Party& { return state_.party_of(id); };
  std::stable_sort(order.begin(), order.end(), [&](ControllerId a, ControllerId b) {
    if (party(a).first.time != party(b).first.time) return party(a).first.time < party(b).first.time;
    if (known[a].bus != known[b].bus) return known[a].bus < known[b].bus;
    return known[a].name < known[b].name;
  });
  for (const ControllerId id : order) {
    const ControlFunction& function = known[id];
    const Party& voice = party(id);
    ControllerRecord record;
    record.name = function.name;
    record.bus = function.bus;
    record.addresses = function.addresses;
    record.address = function.addresses.empty() ? kNullAddress : function.addresses.back().address;
    record.first_seen = voice.first;
    record.last_seen = voice.last;
    record.claims = function.claims;
    record.frames = voice.frames;
    const Identity& identity = voice.identity;
    record.software = identity.software;
    record.software_reported = identity.software_reported;
    record.ecu = identity.ecu;
    record.product = identity.product;
    record.component = identity.component;
    record.functionalities = identity.functionalities;
    if (record.software.empty()) {
      const bool asked_all = state_.buses_[function.bus]->asked_all_for_software > voice.first.time;
      if (identity.answered_empty)
        record.software_silence = SoftwareSilence::reported_nothing;
      else if (identity.broken_off)
        record.software_silence = SoftwareSilence::broken_off;
      else if (identity.refusal)
        record.software_silence = *identity.refusal == 3 ? SoftwareSilence::busy : SoftwareSilence::refused;
      else if (identity.asked || asked_all)
        record.software_silence = SoftwareSilence::no_answer;
    }
    if (function.refused) record.state = ControllerState::refused;
    if (voice.known_before) record.known_before = voice.known_before->time;
    for (const Stream* stream : voice.streams)
      if (dependable(*stream)) {
        ++record.rhythms;
        const SpanNs period = period_of(*stream);
        record.slowest_period = std::max(record.slowest_period, period);
        record.fastest_period = record.rhythms == 1 ? period : std::min(record.fastest_period, period);
      }
    index_.emplace(&voice, out_.controllers.size());
    out_.controllers.push_back(std::move(record));
  }
}

void Conclude::unclaimed() {
  for (const Party& party : state_.parties_) {
    // Requests before a claim come from the null address; nobody owns it.
    if (party.controller != kNobody || party.frames == 0 || party.address == kNullAddress) continue;
    if (!state_.is_whole(party)) continue;
    UnclaimedRecord record;
    record.address = party.address;
    record.bus = party.bus;
    record.first_seen = party.first;
    record.last_seen = party.last;
    record.frames = party.frames;
    record.software = party.identity.software;
    const auto asked = state_.network_.asked_all(party.bus);
    record.asked = asked && *asked >= party.first.time && *asked + kClaimAnswerWindow <= party.last.time;
    out_.unclaimed.push_back(record);
  }
  std::stable_sort(out_.unclaimed.begin(), out_.unclaimed.end(), [](const auto& a, const auto& b) {
    if (a.first_seen.time != b.first_seen.time) return a.first_seen.time < b.first_seen.time;
    return std::pair(a.bus, a.address) < std::pair(b.bus, b.address);
  });
}

void Conclude::trouble_codes() {
  for (const Party& party : state_.parties_)
    for (const DtcTrack& track : party.dtcs) {
      DtcRecord record;
      record.controller = index_of(&party);
      record.address = party.address;
      record.bus = party.bus;
      record.dtc = track.dtc;
      record.spn_text = state_.schema_.spn_text(track.dtc.spn);
      record.fmi_text = state_.schema_.fmi_text(track.dtc.fmi);
      record.first_active = track.first_active;
      record.last_active = track.from_dm2_only ? track.first_active : track.last_active;
      record.cleared = track.from_dm2_only ? std::optional(track.first_active) : track.cleared;
      record.activations = track.activations;
      record.previously_active_only = track.from_dm2_only;
      record.clear_requested_by = track.clear_requested_by;
      record.times = track.times;
      out_.dtcs.push_back(record);
    }
  std::stable_sort(out_.dtcs.begin(), out_.dtcs.end(), [&](const DtcRecord& a, const DtcRecord& b) {
    const auto name = [&](const DtcRecord& d) {
      return d.controller ? out_.controllers[*d.controller].name : Name();
    };
    if (a.first_active.time != b.first_active.time) return a.first_active.time < b.first_active.time;
    if (a.bus != b.bus) return a.bus < b.bus;
    if (name(a) != name(b)) return name(a) < name(b);
    return std::pair(a.dtc.spn, a.dtc.fmi) < std::pair(b.dtc.spn, b.dtc.fmi);
  });
}

void Conclude::transfers() {
  out_.transfers = state_.transfer_summary_;
  out_.transfers.stats = state_.transfers_.stats();
  auto& failed = out_.transfers.failed;
  std::stable_sort(failed.begin(), failed.end(), [](const TransferEnd& a, const TransferEnd& b) {
    if (a.start != b.start) return a.start < b.start;
    return std::tie(a.bus, a.source, a.destination, a.pgn) < std::tie(b.bus, b.source, b.destination, b.pgn);
  });
}

void Conclude::observe() {
  const Network& network = state_.network_;
  seen_.limits = &state_.limits_;
  const auto index_of_id = [&](ControllerId id) { return index_.at(&state_.party_of(id)); };

  for (const AddressContest& contest : network.contests()) {
    if (!contest.answered) continue;
    const bool holder_wins =
        network.controllers()[contest.holder].name < network.controllers()[contest.challenger].name;
    seen_.contests.push_back({contest, index_of_id(holder_wins ? contest.holder : contest.challenger),
                              index_of_id(holder_wins ? contest.challenger : contest.holder)});
  }
  for (const DuplicateName& duplicate : network.duplicates())
    seen_.duplicates.emplace_back(duplicate, index_of_id(duplicate.controller));
  for (std::size_t i = 0; i < network.controllers().size(); ++i)
    if (network.controllers()[i].double_claims > 0)
      seen_.double_claims.push_back(index_of_id(static_cast<ControllerId>(i)));
  seen_.commands = network.commands();
  seen_.malformed_claims = network.malformed_claims();

  for (const auto& [key, set] : state_.working_sets_.all()) {
    const Party* master = state_.buses_[set.bus]->voices[set.master];
    for (const WorkingSetMember& member : set.members) {
      AnnouncedMember announced;
      announced.bus = set.bus;
      announced.master_address = set.master;
      announced.master = index_of(master);
      announced.name = member.name;
      announced.at = {member.announced, member.frame};
      for (const ControlFunction& function : network.controllers())
        announced.heard = announced.heard || (function.bus == set.bus && function.name == member.name);
      seen_.announced.push_back(announced);
    }
  }

  for (const StreamStop& stop : state_.stops_) {
    MessageStop message;
    message.controller = index_of(stop.party);
    message.bus = stop.bus;
    message.pgn = stop.pgn;
    message.source = stop.source;
    message.destination = stop.destination;
    message.last = stop.last;
    message.resumed = stop.resumed;
    message.period = stop.period;
    message.cyclic = stop.cyclic;
    const TimeNs until = stop.resumed ? stop.resumed->time : out_.end;
    message.near_blindness =
        blind_time(stop.bus, stop.last.time, std::min(until, stop.last.time + 10 * stop.period)) > 0;
    seen_.stops.push_back(message);
  }
  for (const Stream& stream : state_.streams_.all()) {
    if (stream.role.pace != PaceRole::cyclic || stream.role.silence_limit > 0) continue;
    const MessageSpec* spec = state_.schema_.find(stream.id, true);
    if (spec == nullptr || stream.pace.gaps() < kGapsOfPace) continue;
    MessagePace pace;
    pace.controller = index_of(stream.party);
    pace.bus = stream.bus;
    pace.pgn = stream.pgn;
    pace.source = stream.source;
    pace.destination = stream.destination;
    pace.message = spec->name;
    pace.nominal = stream.role.nominal_period;
    // The median tells what is usual; the rhythm's mean is the more exact figure where both mean the same.
    pace.period = stream.pace.median();
    const SpanNs mean = stream.pace.period();
    if (mean > pace.period * 3 / 4 && mean < pace.period * 4 / 3) pace.period = mean;
    pace.count = stream.count;
    pace.first = stream.first;
    pace.last = {stream.last, stream.last_frame};
    seen_.paces.push_back(std::move(pace));
  }
  for (const Party& party : state_.parties_) {
    const auto controller = index_of(&party);
    if (!controller) continue;
    if (party.restarts > 0 && party.last_restart)
      seen_.restarts.push_back({*controller, party.restarts, *party.last_restart, party.restart_times});
    if (!party.identity.software_before.empty())
      seen_.software_changes.push_back({*controller, party.identity.software_before,
                                        *party.identity.software_before_reported,
                                        *party.identity.software_reported});
  }
  for (const ClockStep& step : state_.clock_steps_) seen_.clock_steps.push_back({step.at, step.back});
  for (const auto& bus : state_.buses_)
    seen_.buses.push_back({bus->bursts,
                           bus->suspensions,
                           bus->key_changes,
                           bus->engine_starts,
                           bus->rate,
                           {bus->last, bus->last_frame},
                           {},
                           bus->engine_told});
  observe_rates();
  observe_requests();
  observe_servers();
  observe_supplies();

  std::uint64_t bus_caps = state_.buses_over_cap_ + state_.clock_steps_over_cap_;
  std::uint64_t dtc_caps = 0;
  for (const auto& bus : state_.buses_) bus_caps += bus->over_cap + bus->hearing.spans_over_cap();
  for (const Party& party : state_.parties_) dtc_caps += party.dtcs_over_cap;
  const TransferStats& transfers = out_.transfers.stats;
  const std::pair<const char*, std::uint64_t> caps[] = {
      {"different streams", state_.streams_.refused()},
      {"controllers, address changes or contests", network.over_cap()},
      {"silences", state_.silences_over_cap_},
      {"ended messages", state_.stops_over_cap_},
      {"gaps, error bursts or key changes of a bus", bus_caps},
      {"trouble codes of a controller", dtc_caps},
      {"transfers at a time", transfers.sessions_given_up},
      {"listed failed transfers", out_.transfers.failed_not_listed},
      {"listed damages", state_.damage_over_cap_},
      {"working sets or members", state_.working_sets_.stats().not_kept},
      {"implements", out_.seeding.implements_not_kept},
      {"runs or notes of the recorder", state_.recorder_.not_kept},
      {"floods", state_.floods_over_cap_},
      {"requests", state_.requests_.not_kept()},
      {"supply voltages", state_.supplies_over_cap_},
  };
  for (const auto& [what, times] : caps)
    if (times > 0) seen_.caps.emplace_back(what, times);
}

void Conclude::implements() {
  out_.seeding = state_.implements_.conclude(state_.now_);
  const auto index = [&](ControllerId id) {
    const auto place = static_cast<std::size_t>(id);
    if (id == kNobody || place >= state_.controller_party_.size()) return kNobody;
    const auto found = index_of(state_.controller_party_[place]);
    return found ? static_cast<ControllerId>(*found) : kNobody;
  };
  const bool sliced = is_slice(out_);
  for (ImplementRecord& implement : out_.seeding.implements) {
    implement.client = index(implement.client);
    for (LinkRecord& link : implement.links) link.server = index(link.server);
    for (CheckLine& line : implement.lines) {
      fold_power_down(line);
      // What was delivered before and between the parts of a slice is in its totals all the same.
      if (sliced && line.code.rfind("total.", 0) == 0 && line.verdict == Verdict::attention) {
        line.verdict = Verdict::not_shown;
        line.text = "Not shown in a slice: totals include what was delivered outside of it.";
        line.figures.clear();
        line.moments.clear();
      }
    }
  }
  for (CheckLine& line : out_.seeding.lines) fold_power_down(line);
}

// What ended with the machine's own power-down, or because it was asked to, is no fault: the task controller's
// status, a speed, a fix.
void Conclude::fold_power_down(CheckLine& line) const {
  if (line.verdict != Verdict::attention || line.moments.empty() || line.moments.size() >= kMaxMoments)
    return;
  constexpr SpanNs kAround = 3 * kSecond;
  const auto powered_down = [&](const Moment& moment) {
    const auto within = [&](TimeNs start, TimeNs end) {
      return moment.at.time >= start - kAround && moment.at.time <= end + kAround;
    };
    return std::any_of(out_.dropouts.begin(), out_.dropouts.end(),
                       [&](const Dropout& d) {
                         return d.kind == DropoutKind::power_down && within(d.start.time, d.judged_until);
                       }) ||
           std::any_of(out_.silences.begin(), out_.silences.end(), [&](const BusSilence& silence) {
             return silence.verdict == BusSilence::Verdict::power_down &&
                    within(silence.start.time, silence.judged_until);
           });
  };
  const auto stopped = [&](const Moment& moment) {
    return std::any_of(state_.buses_.begin(), state_.buses_.end(), [&](const auto& bus) {
      return std::any_of(bus->suspensions.begin(), bus->suspensions.end(), [&](const Suspension& s) {
        return moment.at.time >= s.start.time - kAround && moment.at.time <= suspended_until(s) + kAround;
      });
    });
  };
  const char* why = nullptr;
  if (std::all_of(line.moments.begin(), line.moments.end(), powered_down))
    why = " It came with the machine's power-down: no fault.";
  else if (std::all_of(line.moments.begin(), line.moments.end(), stopped))
    why = " It came while all traffic was stopped on request (DM13): no fault.";
  if (why == nullptr) return;
  line.verdict = Verdict::pass;
  line.text += why;
}

void Conclude::judge(const CauseWeights& weights) {
  for (const Check* check : checks::kAll) check->judge(out_, seen_, out_.faults);
  if (state_.chosen_only_) only_chosen();
  std::stable_sort(out_.faults.begin(), out_.faults.end(), [&](const Fault& a, const Fault& b) {
    if (a.start != b.start) return a.start < b.start;
    const auto bus = [](const Fault& f) { return f.bus ? *f.bus + 1 : 0; };
    if (bus(a) != bus(b)) return bus(a) < bus(b);
    const auto name = [&](const Fault& f) {
      return f.controllers.empty() ? Name() : out_.controllers[f.controllers.front()].name;
    };
    if (name(a) != name(b)) return name(a) < name(b);
    return a.code < b.code;
  });
  // Causes are told apart by what others did, and that was left out.
  if (!state_.chosen_only_) out_.findings = find_causes(out_, seen_, weights);
  out_.story = tell_story(out_, seen_);
}

// A slice for some controllers says nothing of others, nor of the bus.
void Conclude::only_chosen() {
  std::vector<bool> chosen(out_.controllers.size());
  for (const auto& [party, index] : index_) chosen[index] = state_.is_whole(*party);
  std::erase_if(out_.faults, [&](const Fault& fault) {
    if (fault.code.rfind("capture.", 0) == 0 || fault.code.rfind("recorder.", 0) == 0) return false;
    return std::none_of(fault.controllers.begin(), fault.controllers.end(), [&](std::size_t c) { return chosen[c]; });
  });
}

}  // namespace tramlog
