// What controllers say of themselves, heard here or known before a slice begins.
#include <algorithm>

#include "exam/examiner_impl.hpp"

namespace tramlog {

bool Examiner::Impl::take_identity(Party& voice, Pgn pgn, Bytes data, Mark at) {
  Identity& identity = voice.identity;
  switch (pgn) {
    case kPgnSoftwareIdentification: {
      SoftwareIdentification software = parse_software_identification(data);
      if (software.texts.empty()) {
        identity.answered_empty = true;
      } else if (identity.software != software.texts) {
        if (!identity.software.empty()) {
          identity.software_before = identity.software;
          identity.software_before_reported = identity.software_reported;
        }
        identity.software = std::move(software.texts);
        identity.software_reported = at;
      }
      return true;
    }
    case kPgnEcuIdentification:
      identity.ecu = parse_ecu_identification(data);
      return true;
    case kPgnProductIdentification:
      identity.product = parse_product_identification(data);
      return true;
    case kPgnComponentIdentification:
      identity.component = parse_component_identification(data);
      return true;
    case kPgnFunctionalities:
      identity.functionalities = parse_functionalities(data);
      return true;
    default:
      return false;
  }
}

// A part of a slice begins: nothing that lies before it is a gap of anybody.
void Examiner::Impl::take_cut(const Event& event, const RecorderNote& note) {
  constexpr std::size_t kChosen = 9;  // bytes of each (slice/slicer.hpp)
  chosen_only_ = chosen_only_ || note.number > 0;
  Choice choice;
  for (std::size_t i = 0; i + kChosen <= note.data.size(); i += kChosen) {
    const auto* at = reinterpret_cast<const std::uint8_t*>(note.data.data()) + i;
    if (*at == 'N')
      choice.names.insert(Name::from_claim(at + 1).raw());
    else if (*at == 'A')
      choice.addresses.insert(at[1]);
  }
  if (note.number > 0) choices_.insert(choices_.size() < kMaxChoices ? std::move(choice) : Choice());
  for (std::size_t i = 0; i < buses_.size(); ++i) {
    BusWatch& bus = *buses_[i];
    bus.hearing.take_left_out(event.time, chosen_only_);
    bus.statistics_since_frame = 0;
    bus.damage_open.reset();
    if (bus.frames == 0) continue;
    note_loss(static_cast<BusIndex>(i), bus.last, event.time);
    bus.last = event.time;
  }
  for (const Stream& known : streams_.all()) {
    Stream& stream = const_cast<Stream&>(known);
    stream.skip_gap = true;
    stream.last = stream.steady_since = event.time;
  }
}

bool Examiner::Impl::is_whole(const Party& party) const {
  return std::all_of(choices_.begin(), choices_.end(), [&](const Choice& choice) {
    if (choice.addresses.count(party.address) > 0) return true;
    return party.controller != kNobody &&
           choice.names.count(network_.controllers()[static_cast<std::size_t>(party.controller)].name.raw()) > 0;
  });
}

// The notes of one controller come together, its NAME first (slice/slicer.hpp).
void Examiner::Impl::take_known(const Event& event, const RecorderNote& note) {
  if (!note.of_bus || event.bus >= kMaxBuses) return;
  BusWatch& bus = bus_of(event.bus);
  if (note.number == RecorderNote::kNoPgn) return bus.hearing.take_pace(note.span);
  const Bytes data{reinterpret_cast<const std::uint8_t*>(note.data.data()), note.data.size()};
  const auto pgn = static_cast<Pgn>(note.number);
  if (pgn == kPgnProcessData) {
    if (auto pool = known_pools_.take(data))
      implements_.take_pool_before_cut(pool->client, std::move(pool->bytes), {event.time, event.number});
    return;
  }
  const Mark heard{later_by(event.time, -std::clamp<SpanNs>(note.span, 0, INT64_MAX)), 0};
  if (pgn == kPgnAddressClaimed) {
    known_party_ = nullptr;
    if (data.empty() && note.address < kNullAddress) {
      Party*& voice = bus.voices[note.address];
      if (voice == nullptr) voice = &anonymous(event.bus, note.address);
      known_party_ = voice;
    }
    if (data.size() < 8) return;
    const ControllerId id =
        network_.take_known(event.bus, Name::from_claim(data.data()), note.address, event.time);
    if (id == kNobody) return;
    Party& party = party_of(id);
    known_party_ = &party;
    if (party.frames > 0 || party.known_before) return;
    party.known_before = heard;
    party.first = party.last = heard;
    if (data.size() >= 16)
      party.known_pause = std::clamp<SpanNs>(static_cast<SpanNs>(load_le64(data.data() + 8)), 0, kHour);
    return;
  }
  if (known_party_ == nullptr || known_party_->bus != event.bus) return;
  if (pgn == kPgnWorkingSetMaster || pgn == kPgnWorkingSetMember) {
    Message message;
    message.bus = event.bus;
    message.pgn = pgn;
    message.source = note.address;
    message.start = message.end = event.time;
    message.data = data;
    working_sets_.take(message);
    return;
  }
  take_identity(*known_party_, pgn, data, heard);
}

}  // namespace tramlog
