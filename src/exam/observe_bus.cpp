// From the examiner's state to observations: rates, requests, servers with their clients, supply voltages.
#include <algorithm>
#include <map>
#include <tuple>

#include "exam/conclude.hpp"
#include "exam/rates.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxTalkers = 16;  // of one bus

struct ServerTraits {
  ServerKind kind;
  Pgn status;   // to all
  Pgn clients;  // to the server
};
// Fact sheet 6.4, 6.5.
constexpr ServerTraits kServers[] = {
    {ServerKind::terminal, 0xE600, 0xE700},
    {ServerKind::task_controller, 0xCB00, 0xCB00},
    {ServerKind::file_server, 0xAB00, 0xAA00},
};
// Fewer are no status that would be missed.
constexpr std::uint64_t kStatusSeen = 3;

}  // namespace

SpanNs patience_of(ServerKind kind, const SeedingLimits& limits) {
  double wait = 0;
  switch (kind) {
    case ServerKind::terminal:
      wait = limits["partner.terminal_s"];
      break;
    case ServerKind::task_controller:
      wait = limits["partner.task_controller_s"];
      break;
    case ServerKind::file_server:
      wait = limits["partner.file_server_s"];
      break;
  }
  return static_cast<SpanNs>(wait * 1e9);
}

void Conclude::observe_rates() {
  for (const Stream& stream : state_.streams_.all()) {
    const StreamRate& rate = stream.rate;
    if (rate.high_bits > 0 && stream.bus < seen_.buses.size())
      seen_.buses[stream.bus].talkers.push_back({index_of(stream.party), stream.source, stream.destination,
                                                 stream.pgn, rate.high_bits,
                                                 Transfers::is_transport(stream.pgn)});
    if (rate.late_blocks > 1 &&
        (stream.role.pace == PaceRole::cyclic || stream.pace.has_rhythm() || stream.stopped))
      seen_.jitters.push_back({index_of(stream.party), stream.bus, stream.pgn, stream.source,
                               stream.destination, Pace::bucket_middle(rate.steady.middle),
                               Pace::bucket_middle(rate.steady.high), Pace::bucket_middle(rate.late.high),
                               rate.late_from, rate.late_until});
  }
  for (BusObservations& bus : seen_.buses) {
    std::stable_sort(bus.talkers.begin(), bus.talkers.end(), [](const LoadTalker& a, const LoadTalker& b) {
      if (a.bits != b.bits) return a.bits > b.bits;
      return std::pair(a.pgn, a.source) < std::pair(b.pgn, b.source);
    });
    if (bus.talkers.size() > kMaxTalkers) bus.talkers.resize(kMaxTalkers);
  }
  for (const auto& track : state_.floods_) {
    Flood flood;
    flood.controller = index_of(track.stream->party);
    flood.bus = track.stream->bus;
    flood.pgn = track.stream->pgn;
    flood.source = track.stream->source;
    flood.destination = track.stream->destination;
    flood.start = track.start;
    flood.end = track.end;
    flood.last = track.last;
    flood.usual_per_s = track.usual_per_s;
    flood.per_s = track.per_s_sum / track.looks;
    flood.share_pct = track.share_sum / track.looks;
    flood.goes_on = out_.end - track.end <= kSecond;
    seen_.floods.push_back(flood);
  }
}

void Conclude::observe_requests() {
  for (const RequestWatch::Record& record : state_.requests_.records())
    if (!state_.chosen_only_)  // else what others answered to all was left out
      seen_.requests.push_back({index_of(record.party),
                                record.bus,
                                record.address,
                                record.asker,
                                record.pgn,
                                record.asked,
                                record.unanswered,
                                {record.refused[0], record.refused[1], record.refused[2]},
                                record.first,
                                record.last});
  for (const ControlFunction& function : state_.network_.controllers()) {
    const Party& party =
        state_.party_of(static_cast<ControllerId>(&function - state_.network_.controllers().data()));
    const std::size_t index = index_.at(&party);
    // Its frames are its claims, and nothing else.
    if (!function.refused && state_.is_whole(party) && function.claims > 0 &&
        out_.controllers[index].frames <= function.claims)
      seen_.mute.push_back(index);
  }
}

void Conclude::observe_servers() {
  std::map<std::tuple<BusIndex, Pgn, Address>, std::vector<const Stream*>> clients;
  for (const Stream& stream : state_.streams_.all())
    for (const ServerTraits& traits : kServers)
      if (stream.pgn == traits.clients && stream.destination != kGlobalAddress) {
        clients[{stream.bus, stream.pgn, stream.destination}].push_back(&stream);
        break;
      }
  for (const Stream& status : state_.streams_.all())
    for (const ServerTraits& traits : kServers) {
      if (status.pgn != traits.status || status.destination != kGlobalAddress || status.count < kStatusSeen)
        continue;
      ServerRecord server;
      server.kind = traits.kind;
      server.controller = index_of(status.party);
      server.bus = status.bus;
      server.address = status.source;
      server.first = status.first;
      server.last = {status.last, status.last_frame};
      if (const auto its = clients.find({status.bus, traits.clients, status.source}); its != clients.end())
        for (const Stream* stream : its->second)
          server.clients.push_back({index_of(stream->party),
                                    stream->source,
                                    {stream->last, stream->last_frame},
                                    stream->first,
                                    stream->count});
      const SpanNs patience = patience_of(traits.kind, state_.limits_);
      for (const Dropout& dropout : out_.dropouts)
        if (dropout.bus == status.bus && dropout.kind == DropoutKind::controller && !dropout.cause_unknown &&
            dropout.address == status.source && dropout.start.time >= status.first &&
            dropout.judged_until - dropout.start.time > patience)
          server.losses.push_back({dropout.start, dropout.end, true});
      for (const MessageStop& stop : seen_.stops)
        if (stop.bus == status.bus && stop.pgn == status.pgn && stop.source == status.source &&
            stop.destination == kGlobalAddress && !stop.near_blindness)
          server.losses.push_back({stop.last, stop.resumed, false});
      std::stable_sort(server.losses.begin(), server.losses.end(),
                       [](const ServerLoss& a, const ServerLoss& b) { return a.last.time < b.last.time; });
      seen_.servers.push_back(std::move(server));
    }
  for (const auto& told : state_.terminal_versions_) {
    if (told.terminal_version == 0 || told.client_version <= told.terminal_version) continue;
    const auto& voices = state_.buses_[told.bus]->voices;
    seen_.versions.push_back({index_of(voices[told.client]), index_of(voices[told.terminal]), told.bus,
                              told.client, told.terminal, told.client_version, told.terminal_version,
                              told.at});
  }
}

void Conclude::observe_supplies() {
  const auto volts = [](std::uint32_t raw) { return raw * SupplyLimits::kVolts; };
  const auto is_24 = [&](const Party& party) { return party.supply.most >= state_.supply_limits_.volts_24; };
  for (const Party* party : state_.supplies_) {
    const SupplyTrack& track = party->supply;
    SupplyRecord record;
    record.controller = index_of(party);
    record.bus = party->bus;
    record.address = party->address;
    record.count = track.count;
    record.least_v = volts(track.least);
    record.most_v = volts(track.most);
    record.system_24 = is_24(*party);
    record.least_at = track.least_at;
    record.differs_for = track.differs_until.time - track.differs_from.time;
    record.differs_from = track.differs_from;
    record.differs_until = track.differs_until;
    record.differs_v = volts(track.differs_most);
    if (track.differs_from_whom != nullptr) record.other = index_of(track.differs_from_whom);
    seen_.supplies.push_back(record);
  }
  for (const auto& low : state_.supply_lows_)
    seen_.supply_spells.push_back({index_of(low.party), low.party->bus, low.party->address, low.start,
                                   low.end, volts(low.least), is_24(*low.party)});
}

}  // namespace tramlog
