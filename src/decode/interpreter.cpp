#include "decode/interpreter.hpp"

#include <algorithm>
#include <utility>

#include "decode/change_memory.hpp"
#include "decode/decode_filter.hpp"
#include "decode/speakers.hpp"
#include "decode/talk_table.hpp"

namespace tramlog {
namespace {

constexpr Pgn kPgnLanguageCommand = 0xFE0F;  // 65039
constexpr Pgn kPgnProcessData = 0xCB00;      // 51968; B1 bits 1-4 command, B3-4 DDI
constexpr std::size_t kProcessDataBytes = 8;
// With this many frames in a row from behind the wanted time, nothing of it will come: one wild time stamp
// does not end the reading, nor does a second bus whose file lags behind.
constexpr unsigned kFramesPastSpan = 20'000;

// How often transfers are asked for their timeouts (750 ms and more), in capture time.
constexpr SpanNs kAdvance = 100 * kMillisecond;
constexpr SpanNs kClockStep = 10 * kSecond;  // so far back, the clock was set

// Readings that are kept for payloads that repeat: of one message, and of all together (some 17 MB).
constexpr std::size_t kMostKeptSignals = 64;
constexpr std::size_t kMostKeptReadings = 300'000;

/// The value commands: value, and the measurement commands (time, distance, minimum, maximum, change), which
/// carry a DDI as well.
bool names_data_entity(Bytes data) {
  if (data.size() < kProcessDataBytes) return false;
  const unsigned command = data[0] & 0x0F;
  return (command >= 2 && command <= 8) || command == 10;
}

class Impl final : public Interpreter, public TransferSink {
 public:
  Impl(const Schema& schema, const DecodeFilter& wishes, CompiledFilter filter, std::optional<Roster> roster,
       DecodeSink& sink)
      : schema_(schema),
        wishes_(wishes),
        filter_(std::move(filter)),
        sink_(sink),
        speakers_(std::move(roster)),
        transfers_(*this, limits(), schema.long_page_1_pgns()) {}

  void take(std::span<const Event> events) override {
    for (const Event& event : events) {
      if (event.kind == EventKind::frame) [[likely]]
        take_frame(event);
      else
        take_other(event);
    }
  }
  void finish() override { transfers_.finish(now_); }
  bool past_span() const override { return past_ >= kFramesPastSpan; }
  const DecodeLosses& losses() const override { return losses_; }

 private:
  /// Nobody judges the transfers here, so a failure need not wait for a notice of loss.
  static TransferLimits limits() {
    TransferLimits limits;
    limits.loss_notice_delay = 0;
    return limits;
  }

  // Time.
  void start(TimeNs time);
  bool in_span(TimeNs time) const { return time >= from_ && time <= to_; }

  // Events.
  void take_frame(const Event& event);
  void take_other(const Event& event);
  void take_special(TalkState& state, const Event& event);
  void take_packet(TalkState& state, const Event& event);
  void on_message(const Message& message) override;
  void on_transfer_end(const TransferEnd& end) override;

  // Talks.
  TalkState& talk_of(const Event& event);
  TalkState& talk_of(const Message& message);
  void set_up(TalkState& state, BusIndex bus, std::uint32_t id, bool extended);
  void name_speakers(TalkState& state, Address from, Address to, bool first);
  void decide(TalkState& state);
  bool wants_bus(BusIndex bus) const { return bus >= bus_wanted_.size() || bus_wanted_[bus]; }
  bool up_to_date(TalkState& state) {
    if (state.names_version != speakers_.version()) [[unlikely]]
      name_speakers(state, state.talk.from.address, state.talk.to.address, false);
    return state.wanted;
  }

  // Telling.
  void tell_frame(TalkState& state, const Event& event, bool stray);
  void tell(TalkState& state, const Message& message, std::uint8_t priority, std::uint8_t flags, bool stray);
  std::span<const Reading> read_all(TalkState& state, Bytes data);
  bool says_news(const TalkState& state, const DecodedMessage& told);

  const Schema& schema_;
  DecodeFilter wishes_;
  CompiledFilter filter_;
  DecodeSink& sink_;
  Speakers speakers_;
  Transfers transfers_;
  TalkTable talks_;
  TalkState spare_;  // for whatever is beyond the cap
  ChangeMemory changes_;
  DecodeLosses losses_;
  std::vector<bool> bus_wanted_;

  bool started_ = false;
  TimeNs from_ = INT64_MIN, to_ = INT64_MAX;
  TimeNs now_ = 0;  // of the latest frame
  TimeNs next_advance_ = INT64_MIN + kClockStep;
  unsigned past_ = 0;  // frames in a row behind to_
  unsigned last_priority_ = 0;
  std::size_t kept_readings_ = 0;
  std::vector<Reading> readings_;
  std::vector<Remark> remarks_;
};

void Impl::start(TimeNs time) {
  started_ = true;
  if (wishes_.from) from_ = wishes_.from->resolve(time);
  if (wishes_.to) to_ = wishes_.to->resolve(time);
}

inline void Impl::take_frame(const Event& event) {
  if (!started_) [[unlikely]]
    start(event.time);
  now_ = event.time;
  if (event.time >= next_advance_ || event.time < next_advance_ - kClockStep) [[unlikely]] {
    next_advance_ = later_by(event.time, kAdvance);
    transfers_.advance(event.time);
  }
  TalkState& state = talk_of(event);
  if (event.flags & kShortData) [[unlikely]]
    ++losses_.short_frames;
  const bool within = in_span(event.time);
  past_ = event.time > to_ ? past_ + 1 : 0;
  if (state.kind == TalkState::Kind::claim || state.kind == TalkState::Kind::language) [[unlikely]]
    take_special(state, event);
  if (up_to_date(state) && within) tell_frame(state, event, false);
  // A message comes after the frame that completes it.
  if (state.kind == TalkState::Kind::transport || state.kind == TalkState::Kind::fast_packet) [[unlikely]]
    take_special(state, event);
}

inline void Impl::tell_frame(TalkState& state, const Event& event, bool stray) {
  Message message;
  message.bus = event.bus;
  message.pgn = state.talk.pgn;
  message.source = state.talk.from.address;
  message.destination = state.talk.to.address;
  message.start = message.end = event.time;
  message.first_frame = message.last_frame = event.number;
  if ((event.flags & kRemote) == 0) message.data = Bytes(event.data, event.len);
  const unsigned priority = state.talk.extended ? priority_of(event.id) : 0;
  tell(state, message, static_cast<std::uint8_t>(priority), event.flags, stray);
}

void Impl::take_special(TalkState& state, const Event& event) {
  switch (state.kind) {
    case TalkState::Kind::claim:
      return speakers_.take_claim(event);
    case TalkState::Kind::language:
      return sink_.on_bus(event);
    case TalkState::Kind::transport:
    case TalkState::Kind::fast_packet:
      last_priority_ = priority_of(event.id);
      take_packet(state, event);
      losses_.long_messages = transfers_.stats().messages_not_kept;
      losses_.given_up_sessions = transfers_.stats().sessions_given_up;
      return;
    case TalkState::Kind::plain:
      return;
  }
}

void Impl::take_packet(TalkState& state, const Event& event) {
  const TransferStats& stats = transfers_.stats();
  const std::uint64_t before = stats.orphan_packets + stats.malformed;
  transfers_.take(event);
  // What no transfer takes would be told nowhere.
  if (stats.orphan_packets + stats.malformed != before && state.wanted_stray && in_span(event.time))
    tell_frame(state, event, true);
}

void Impl::take_other(const Event& event) {
  const bool timed = event.is_timed();
  if (!started_ && timed) start(event.time);
  if (event.kind == EventKind::foreign) ++losses_.foreign;
  bool every_bus = false;
  if (event.kind == EventKind::notice) {
    if (const auto* info = std::get_if<BusInfo>(event.notice)) {
      if (bus_wanted_.size() <= event.bus) bus_wanted_.resize(std::size_t{event.bus} + 1, true);
      bus_wanted_[event.bus] = filter_.wants_bus(info->name);
      sink_.on_bus(event);
      return;
    }
    // Nobody can say whose frames the damaged bytes were.
    every_bus = std::holds_alternative<Damage>(*event.notice);
    if (const auto* note = std::get_if<RecorderNote>(event.notice)) every_bus = !note->of_bus;
  }
  if (filter_.narrows_messages() || !in_span(event.time)) return;
  if (!every_bus && !wants_bus(event.bus)) return;
  ++losses_.told;
  sink_.on_event(event);
}

void Impl::on_message(const Message& message) {
  TalkState& state = talk_of(message);
  if (message.pgn == kPgnLanguageCommand) {
    Event event;
    event.time = message.end;
    event.number = message.last_frame;
    event.data = message.data.data();
    event.len = static_cast<std::uint8_t>(std::min<std::size_t>(message.data.size(), 64));
    event.id = state.talk.id;
    event.bus = message.bus;
    event.flags = kExtendedId;
    sink_.on_bus(event);
  }
  if (!up_to_date(state) || !in_span(message.end)) return;
  tell(state, message, static_cast<std::uint8_t>(last_priority_), kExtendedId, false);
}

void Impl::on_transfer_end(const TransferEnd& end) {
  if (end.outcome == TransferOutcome::complete) return;
  Message message;
  message.bus = end.bus;
  message.pgn = end.pgn;
  message.source = end.source;
  message.destination = end.destination;
  message.carrier = end.protocol;
  TalkState& state = talk_of(message);
  if (!up_to_date(state) || !in_span(end.end)) return;
  ++losses_.told;
  sink_.on_broken_transfer(end, state.talk, now_);
}

inline TalkState& Impl::talk_of(const Event& event) {
  const std::uint64_t key = TalkTable::key_of(event);
  TalkState* state = talks_.find(key);
  if (state != nullptr) [[likely]]
    return *state;
  state = talks_.add(key);
  if (state == nullptr) {
    ++losses_.beyond_cap;
    state = &spare_;
  }
  const bool extended = (event.flags & kExtendedId) != 0;
  set_up(*state, event.bus, event.id, extended);
  Talk& talk = state->talk;
  talk.spec = schema_.find(event.id, extended);
  if (extended) {
    talk.pgn = pgn_of(event.id);
    const bool plain_frame = (event.flags & (kRemote | kFd)) == 0;
    if (plain_frame && talk.pgn == kPgnAddressClaimed) state->kind = TalkState::Kind::claim;
    if (plain_frame && talk.pgn == kPgnLanguageCommand) state->kind = TalkState::Kind::language;
    if (plain_frame && Transfers::is_transport(talk.pgn)) state->kind = TalkState::Kind::transport;
    if (plain_frame && transfers_.takes_as_fast_packet(talk.pgn)) {
      state->kind = TalkState::Kind::fast_packet;
      talk.spec = nullptr;  // it describes the whole message, not this piece of it
    }
  }
  talk.piece = state->kind == TalkState::Kind::transport || state->kind == TalkState::Kind::fast_packet;
  name_speakers(*state, extended ? source_of(event.id) : Address{0},
                extended ? destination_of(event.id) : kGlobalAddress, true);
  return *state;
}

TalkState& Impl::talk_of(const Message& message) {
  const std::uint64_t key = TalkTable::key_of(message);
  TalkState* state = talks_.find(key);
  if (state != nullptr) return *state;
  state = talks_.add(key);
  if (state == nullptr) {
    ++losses_.beyond_cap;
    state = &spare_;
  }
  set_up(*state, message.bus, make_id(0, message.pgn, message.source, message.destination), true);
  state->talk.pgn = message.pgn;
  state->talk.spec = schema_.find(message.pgn, message.source, message.destination);
  name_speakers(*state, message.source, message.destination, true);
  return *state;
}

void Impl::set_up(TalkState& state, BusIndex bus, std::uint32_t id, bool extended) {
  const std::uint32_t generation = state.talk.generation;
  const std::uint32_t slot = &state == &spare_ ? static_cast<std::uint32_t>(kMaxTalks) : state.talk.slot;
  state = TalkState{};
  state.overflow = &state == &spare_;
  state.talk.slot = slot;
  // Sinks must not take what they keep of the spare one for this one's.
  state.talk.generation = generation + 1;
  state.talk.id = id;
  state.talk.extended = extended;
  state.talk.from.bus = state.talk.to.bus = bus;
}

void Impl::name_speakers(TalkState& state, Address from, Address to, bool first) {
  Talk& talk = state.talk;
  const BusIndex bus = talk.from.bus;
  state.names_version = speakers_.version();
  if (talk.extended) {
    const std::uint32_t from_version = speakers_.version(bus, from);
    const std::uint32_t to_version = speakers_.version(bus, to);
    if (!first && from_version == state.from_version && to_version == state.to_version) return;
    state.from_version = from_version;
    state.to_version = to_version;
    talk.from = speakers_.at(bus, from);
    talk.to = speakers_.at(bus, to);
    if (!first) ++talk.generation;
  }
  decide(state);
}

void Impl::decide(TalkState& state) {
  const Talk& talk = state.talk;
  state.teller = talk.extended ? find_teller(talk.pgn) : nullptr;
  state.signals = filter_.by_signal() && talk.spec != nullptr ? filter_.signals_of(talk.spec) : nullptr;
  state.multiplexed =
      talk.spec != nullptr && std::any_of(talk.spec->signals.begin(), talk.spec->signals.end(),
                                          [](const SignalSpec& signal) { return signal.multiplexor >= 0; });
  if (state.kind == TalkState::Kind::fast_packet) state.teller = nullptr;
  const bool may_be_told = !talk.piece || wishes_.transport_frames ||
                           (state.kind == TalkState::Kind::transport && filter_.names_pgn(talk.pgn));
  // Once for a Talk: what it is about never changes.
  if (talk.spec != nullptr && !state.keeps_readings && !state.overflow && !filter_.by_signal() &&
      talk.spec->signals.size() <= kMostKeptSignals && kept_readings_ < kMostKeptReadings) {
    state.keeps_readings = true;
    kept_readings_ += talk.spec->signals.size();
  }
  const bool has_signal = !filter_.by_signal() || state.signals != nullptr ||
                          (filter_.wants_data_entities() && talk.pgn == kPgnProcessData);
  const bool chosen =
      has_signal && wants_bus(talk.from.bus) && filter_.wants_message(talk) && filter_.wants_sender(talk);
  state.wanted = may_be_told && chosen;
  state.wanted_stray = talk.piece && !may_be_told && chosen;
}

void Impl::tell(TalkState& state, const Message& message, std::uint8_t priority, std::uint8_t flags,
                bool stray) {
  const Talk& talk = state.talk;
  const bool remote = (flags & kRemote) != 0;
  DecodedMessage told;
  told.talk = &talk;
  told.start = message.start;
  told.time = message.end;
  told.first_frame = message.first_frame;
  told.last_frame = message.last_frame;
  told.priority = priority;
  told.flags = flags;
  told.stray = stray;
  told.carrier = message.carrier;
  told.data = message.data;

  bool by_entity = false;
  if (filter_.wants_data_entities() && talk.pgn == kPgnProcessData && names_data_entity(message.data))
    by_entity = filter_.wants_data_entity(load_le16(message.data.data() + 2));

  if (talk.spec == nullptr || remote) {
    readings_.clear();
    told.readings = readings_;
  } else if (filter_.by_signal() && !by_entity) {
    readings_.clear();
    if (state.signals != nullptr)
      for (const SignalSpec* signal : *state.signals)
        if (const auto reading = read_signal(*signal, message.data)) readings_.push_back(*reading);
    told.readings = readings_;
  } else {
    told.readings = read_all(state, message.data);
  }
  if (filter_.by_signal() && !by_entity && told.readings.empty()) return;
  if (wishes_.only_changes && !says_news(state, told)) return;

  remarks_.clear();
  if (state.teller != nullptr && !remote && (!filter_.by_signal() || by_entity))
    state.teller->tell(message, schema_, remarks_);
  told.remarks = remarks_;
  ++losses_.told;
  sink_.on_message(told);
}

std::span<const Reading> Impl::read_all(TalkState& state, Bytes data) {
  std::vector<Reading>& readings = state.keeps_readings ? state.readings : readings_;
  if (state.keeps_readings) {
    const bool whole = data.size() == sizeof state.payload;
    const std::uint64_t payload = whole ? load_native<std::uint64_t>(data.data()) : 0;
    if (whole && state.has_payload && payload == state.payload) return readings;
    state.has_payload = whole;
    state.payload = payload;
  }
  read_signals(*state.talk.spec, data, readings);
  return readings;
}

/// Multiplexed messages and process data have something to say for each selection; a repetition is measured
/// against the last one of the same selection.
bool Impl::says_news(const TalkState& state, const DecodedMessage& told) {
  if (state.overflow) return true;
  const Talk& talk = state.talk;
  const Bytes data = told.data;
  ContentHash key;
  key.add(talk.slot);
  if (talk.pgn == kPgnProcessData && data.size() >= 4) key.add(data.first(4));
  ContentHash content;
  content.add(talk.from.name ? talk.from.name->raw() : 0);
  for (const Reading& reading : told.readings) {
    if (state.multiplexed) {
      // The choice of signals is the selection, as far as a signal filter lets it be seen.
      key.add(static_cast<std::uint64_t>(reading.signal - talk.spec->signals.data()));
    }
    content.add(reading.raw);
    content.add(static_cast<std::uint64_t>(reading.validity));
  }
  // Whatever has no signals, or is told in words, is as new as its bytes.
  if (told.readings.empty() || (state.teller != nullptr && !filter_.by_signal())) content.add(data);
  return changes_.is_new(key.value(), content.value());
}

}  // namespace

Result<std::unique_ptr<Interpreter>> Interpreter::make(const Schema& schema, const DecodeFilter& filter,
                                                       std::optional<Roster> roster, DecodeSink& sink) {
  auto compiled = CompiledFilter::make(filter, schema, roster);
  if (!compiled) return compiled.error();
  std::unique_ptr<Interpreter> made =
      std::make_unique<Impl>(schema, filter, std::move(*compiled), std::move(roster), sink);
  return made;
}

}  // namespace tramlog
