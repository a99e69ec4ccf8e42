#include "slice/known.hpp"

#include <algorithm>

#include "isobus/acknowledgement.hpp"
#include "isobus/identification.hpp"
#include "isobus/process_data.hpp"
#include "isobus/working_set.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxBuses = 64;    // as the examiner
constexpr std::size_t kMaxCarried = 64;  // pools of an earlier cut
constexpr std::size_t kMaxMembers = 32;  // of one working set
// Who talked all the time for so long, with no longer pause, can be missed when it is silent; a unit that has
// said its name and waits to be asked cannot.
constexpr SpanNs kTalked = 10 * kSecond, kLongestOfTalk = 2 * kSecond;
constexpr std::uint64_t kFramesOfTalk = 50;
// Where nobody was heard for so long, no unit's silence is its own.
constexpr SpanNs kBusQuiet = 300 * kMillisecond;
constexpr Pgn kPgnWheelSpeed = 0xFE48;  // B8 bits 3-4: the key switch, 0 off, 1 on
constexpr Pgn kPgnDm13 = 0xDF00, kPgnHeartbeat = 0xF0E4;
constexpr std::uint8_t kFarewell = 255;  // B1 of a heartbeat: the sender ends in good order
// A voice and the claim of its address within so long are one unit (exam/examiner.cpp, attach).
constexpr SpanNs kAdoptWithin = 5 * kSecond;

constexpr Pgn kSaid[] = {kPgnSoftwareIdentification, kPgnEcuIdentification, kPgnProductIdentification,
                         kPgnComponentIdentification, kPgnFunctionalities};

bool is_said(Pgn pgn) {
  return std::find(std::begin(kSaid), std::end(kSaid), pgn) != std::end(kSaid);
}

/// What an upload consists of, and who is whose client.
bool tells_of_pools(Pgn pgn) {
  return pgn == kPgnProcessData || pgn == kPgnAcknowledgement || pgn == kPgnWorkingSetMaster;
}

std::string text_of(Bytes data) {
  return {reinterpret_cast<const char*>(data.data()), std::min(data.size(), RecorderNote::kMostData)};
}

std::string claim_bytes(Name name) {
  std::string bytes;
  for (unsigned i = 0; i < 8; ++i) bytes += static_cast<char>(name.raw() >> 8 * i);
  return bytes;
}

}  // namespace

Known::Known() : network_(*this), transfers_(*this), implements_(Schema::built_in(), network_) {}

Known::Unit& Known::unit_of(BusIndex bus, Address address) {
  const ControllerId owner = network_.owner(bus, address);
  return owner == kNobody ? voices_[{bus, address}] : unit_of(owner);
}

// What a voice said before anybody asked for its NAME is the unit's own.
void Known::on_owner(BusIndex bus, Address address, ControllerId, ControllerId to, TimeNs time) {
  const auto voice = voices_.find({bus, address});
  if (to == kNobody || voice == voices_.end()) return;
  Unit& unit = unit_of(to);
  if (unit.voice.frames == 0 && unit.said.empty() &&
      magnitude(span_between(voice->second.voice.last, time)) <= kAdoptWithin)
    unit = std::move(voice->second);
  voices_.erase(voice);
}

Known::Unit& Known::unit_of(ControllerId id) {
  const auto place = static_cast<std::size_t>(id);
  if (place >= units_.size()) units_.resize(place + 1);
  return units_[place];
}

// A claim without an answer would leave a controller without any time of its own.
void Known::on_claim(const Claim& claim) {
  Voice& voice = unit_of(claim.controller).voice;
  voice.last = std::max(voice.last, claim.time);
}

void Known::note_said(Unit& unit, Pgn pgn, Bytes data, TimeNs time) {
  if (pgn == kPgnWorkingSetMember) {
    const Said said{time, text_of(data)};
    const auto same = [&](const Said& other) { return other.data == said.data; };
    if (unit.members.size() < kMaxMembers && std::none_of(unit.members.begin(), unit.members.end(), same))
      unit.members.push_back(said);
    return;
  }
  if (pgn == kPgnWorkingSetMaster) unit.members.clear();
  unit.said[pgn] = {time, text_of(data)};
}

void Known::on_message(const Message& message) {
  if (tells_of_pools(message.pgn)) implements_.take(message);
  if (is_said(message.pgn))
    note_said(unit_of(message.bus, message.source), message.pgn, message.data, message.start);
}

void Known::take(const Event& event) {
  if (event.kind == EventKind::notice) {
    if (std::holds_alternative<Counters>(*event.notice)) {
      // The shortest of the last few distances: a hole is longer.
      Statistics& pace = statistics_[event.bus];
      const SpanNs distance = span_between(pace.last, event.time);
      if (pace.period > 0 && distance / 3 > pace.period) forget_talk(event.bus, event.time);
      const auto& counters = std::get<Counters>(*event.notice);
      const std::uint64_t lost = counters.interface_dropped.value_or(0) + counters.system_dropped.value_or(0);
      if (lost > pace.lost) forget_talk(event.bus, event.time);
      pace.lost = lost;
      if (pace.count > 1 && distance > 0)
        pace.period = pace.period == 0 ? distance : std::min(pace.period + pace.period / 16, distance);
      ++pace.count;
      pace.last = event.time;
      return;
    }
    if (std::holds_alternative<LinkChange>(*event.notice) ||
        std::holds_alternative<FramesLost>(*event.notice)) {
      if (event.bus < kMaxBuses) implements_.take_blindness(event.bus, event.time, event.time);
      return forget_talk(event.bus, event.time);
    }
    const auto* note = std::get_if<RecorderNote>(event.notice);
    if (note == nullptr || note->kind != RecorderNote::Kind::known || !note->of_bus || event.bus >= kMaxBuses)
      return;
    const Bytes data{reinterpret_cast<const std::uint8_t*>(note->data.data()), note->data.size()};
    const TimeNs heard = later_by(event.time, -std::max<SpanNs>(0, note->span));
    if (note->number == RecorderNote::kNoPgn) return;
    if (note->number == kPgnProcessData) {
      auto pool = pools_.take(data);
      if (!pool || (carried_.size() >= kMaxCarried && carried_.count(pool->client) == 0)) return;
      implements_.take_pool_before_cut(pool->client, pool->bytes, {event.time, event.number});
      carried_[pool->client] = {event.bus, note->address, std::move(pool->bytes)};
      return;
    }
    if (note->number != kPgnAddressClaimed) {
      Unit& unit = told_ != kNobody ? unit_of(told_) : unit_of(event.bus, note->address);
      return note_said(unit, static_cast<Pgn>(note->number), data, heard);
    }
    told_ = kNobody;
    if (data.size() < 8) return;
    told_ = network_.take_known(event.bus, Name::from_claim(data.data()), note->address, event.time);
    if (told_ == kNobody) return;
    Voice& voice = unit_of(told_).voice;
    if (voice.frames == 0) voice.first = voice.last = heard;
    if (data.size() >= 16) {
      voice.longest_gap =
          std::max<SpanNs>(voice.longest_gap, static_cast<SpanNs>(load_le64(data.data() + 8)));
      voice.first = std::min(voice.first, later_by(voice.last, -kTalked));
      voice.frames = std::max(voice.frames, kFramesOfTalk);
    }
    return;
  }
  if (!event.is_iso11783() || event.bus >= kMaxBuses) return;
  const Pgn pgn = pgn_of(event.id);
  const Address source = source_of(event.id);
  const Bytes data{event.data, event.len};
  if (pgn == kPgnAddressClaimed) network_.take_claim(event);
  if (source >= kNullAddress) return;
  Unit& unit = unit_of(event.bus, source);
  Voice& voice = unit.voice;
  if (voice.frames == 0)
    voice.first = event.time;
  else
    voice.longest_gap = std::max(voice.longest_gap, span_between(voice.last, event.time));
  ++voice.frames;
  voice.last = event.time;
  Heard& heard = heard_[event.bus];
  heard.last = event.time;
  if (pgn == kPgnWheelSpeed && event.len == 8 && (event.data[7] >> 2 & 3) <= 1)
    heard.key_off = (event.data[7] >> 2 & 3) == 0;
  if (pgn == kPgnDm13) forget_talk(event.bus, event.time);
  if (pgn == kPgnHeartbeat && event.len > 0 && event.data[0] == kFarewell) voice.first = event.time;
  if (Transfers::is_transport(pgn) || Transfers::is_fast_packet(pgn)) return transfers_.take(event);
  if (is_said(pgn) || pgn == kPgnWorkingSetMaster || pgn == kPgnWorkingSetMember)
    note_said(unit, pgn, data, event.time);
  if (tells_of_pools(pgn)) implements_.take(single_frame(event));
}

void Known::forget_talk(BusIndex bus, TimeNs time) {
  const auto& all = network_.controllers();
  for (std::size_t i = 0; i < units_.size() && i < all.size(); ++i)
    if (all[i].bus == bus) units_[i].voice.first = std::max(units_[i].voice.first, time);
}

bool Known::stood_still(BusIndex bus, TimeNs heard, TimeNs at) const {
  constexpr int kHolePeriods = 3;
  const auto pace = statistics_.find(bus);
  if (pace == statistics_.end() || pace->second.period <= 0) return false;
  const TimeNs latest = std::max(pace->second.last, heard);
  return span_between(latest, at) / kHolePeriods > pace->second.period;
}

std::vector<Known::Note> Known::notes(TimeNs at) const {
  std::vector<Note> notes;
  const auto& all = network_.controllers();
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < all.size() && i < units_.size(); ++i) order.push_back(i);
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return std::pair(all[a].bus, all[a].address) < std::pair(all[b].bus, all[b].address);
  });
  const auto age_of = [&](TimeNs time) { return std::max<SpanNs>(0, span_between(time, at)); };
  const auto add = [&](BusIndex bus, Address address, Pgn pgn, SpanNs age, std::string data) {
    Note known;
    known.bus = bus;
    known.note.kind = RecorderNote::Kind::known;
    known.note.of_bus = true;
    known.note.number = pgn;
    known.note.address = address;
    known.note.span = age;
    known.note.data = std::move(data);
    notes.push_back(std::move(known));
  };
  for (const std::size_t i : order) {
    const ControlFunction& controller = all[i];
    const Unit& unit = units_[i];
    const SpanNs age = age_of(unit.voice.last);
    const auto heard = heard_.find(controller.bus);
    const bool bus_lives =
        heard != heard_.end() && !heard->second.key_off && span_between(heard->second.last, at) <= kBusQuiet;
    const bool talked = bus_lives && span_between(unit.voice.first, unit.voice.last) >= kTalked &&
                        unit.voice.longest_gap <= kLongestOfTalk && unit.voice.frames >= kFramesOfTalk;
    const Address address = controller.address;
    add(controller.bus, address, kPgnAddressClaimed, age, claim_bytes(controller.name));
    if (talked)
      for (unsigned byte = 0; byte < 8; ++byte)
        notes.back().note.data +=
            static_cast<char>(static_cast<std::uint64_t>(unit.voice.longest_gap) >> 8 * byte);
    for (const auto& [pgn, said] : unit.said) add(controller.bus, address, pgn, age_of(said.time), said.data);
    for (const Said& member : unit.members)
      add(controller.bus, address, kPgnWorkingSetMember, age_of(member.time), member.data);
  }
  // Voices without a NAME: what they said of themselves.
  for (const auto& [place, unit] : voices_) {
    if (unit.said.empty()) continue;
    add(place.first, place.second, kPgnAddressClaimed, age_of(unit.voice.last), {});
    for (const auto& [pgn, said] : unit.said)
      add(place.first, place.second, pgn, age_of(said.time), said.data);
  }
  for (const auto& [bus, pace] : statistics_)
    if (pace.period > 0) add(bus, kNullAddress, RecorderNote::kNoPgn, pace.period, {});
  return notes;
}

std::vector<Known::Note> Known::pool_notes() {
  std::vector<Note> notes;
  std::vector<ImplementWatch::ToldPool> all = implements_.told_pools();
  // Of whom a slice told, and nobody was heard since.
  for (const auto& [client, pool] : carried_)
    if (std::none_of(all.begin(), all.end(), [&](const auto& told) { return told.client == client; }))
      all.push_back({pool.bus, pool.address, client, &pool.bytes});
  for (const ImplementWatch::ToldPool& told : all) {
    std::vector<std::uint8_t>& before = pools_told_[{told.bus, told.client}];
    if (before == *told.bytes) continue;
    before = *told.bytes;
    for (std::string& part : pool_parts(told.client, before, RecorderNote::kMostData)) {
      Note known;
      known.bus = told.bus;
      known.note.kind = RecorderNote::Kind::known;
      known.note.of_bus = true;
      known.note.number = kPgnProcessData;
      known.note.address = told.address;
      known.note.data = std::move(part);
      notes.push_back(std::move(known));
    }
  }
  return notes;
}

}  // namespace tramlog
