#include "exam/examiner.hpp"

#include <algorithm>
#include <cstring>

#include "exam/examiner_impl.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kLongestPause = INT64_MAX / 4;  // of sums of pauses, whatever the clock does
// A smaller step back is the order among buses or interfaces, not the clock.
constexpr SpanNs kToleratedStepBack = 2 * kSecond;
constexpr int kMostEmptyWindows = 600;  // of 1 s, between two frames of a bus
// An unclaimed voice heard this recently before the first claim from its address is the same unit.
constexpr SpanNs kAdoptWithin = 5 * kSecond;

std::uint64_t payload_word(const Event& event) {
  if (event.len >= 8) return load_native<std::uint64_t>(event.data);
  std::uint64_t word = 0;
  std::memcpy(&word, event.data, event.len);
  return word;
}

}  // namespace

Examiner::Examiner(const Schema& schema, ImplementOptions implements)
    : impl_(std::make_unique<Impl>(schema, std::move(implements))) {}
Examiner::~Examiner() = default;
void Examiner::take(std::span<const Event> events) {
  impl_->take(events);
}
Conclusions Examiner::conclude(const std::optional<Roster>& roster) {
  return impl_->conclude(roster, CauseWeights::built_in());
}
Conclusions Examiner::conclude(const std::optional<Roster>& roster, const CauseWeights& weights) {
  return impl_->conclude(roster, weights);
}

void Examiner::Impl::take(std::span<const Event> events) {
  for (const Event& event : events) {
    pass_time(event);
    switch (event.kind) {
      case EventKind::frame:
        take_frame(event);
        break;
      case EventKind::error:
        take_error(event);
        break;
      case EventKind::foreign:
        ++foreign_;
        ++bus_of(event.bus).foreign;
        break;
      case EventKind::notice:
        take_notice(event);
        break;
    }
  }
}

BusWatch& Examiner::Impl::bus_of(BusIndex index) {
  // Frames of buses beyond the cap share the last one: counted, never lost.
  if (index >= kMaxBuses) {
    ++buses_over_cap_;
    index = kMaxBuses - 1;
  }
  while (buses_.size() <= index) {
    buses_.push_back(std::make_unique<BusWatch>());
    anonymous_.emplace_back();
    anonymous_.back().fill(nullptr);
    buses_.back()->info.name = "bus" + std::to_string(buses_.size() - 1);
    buses_.back()->first = now_;
  }
  return *buses_[index];
}

inline void Examiner::Impl::pass_time(const Event& event) {
  if (event.time >= now_ && started_) [[likely]] {
    now_ = event.time;
    if (now_ >= next_tick_) tick();
    return;
  }
  const bool timed = event.kind != EventKind::notice || !std::holds_alternative<BusInfo>(*event.notice);
  if (!started_) {
    // A notice that opens the capture may have no time of its own.
    if (!timed) return;
    started_ = true;
    start_ = now_ = event.time;
    next_tick_ = now_ + kTickPeriod;
    next_stream_watch_ = now_ + kSecond;
    rates_since_ = now_;
    next_rates_ = now_ + kSecond;
    for (auto& bus : buses_) bus->first = now_;
    return;
  }
  if (!timed || now_ - event.time <= kToleratedStepBack) return;
  // The recorder's clock was put back: nothing may be judged across the step.
  if (clock_steps_.size() < BusWatch::kMaxGaps)
    clock_steps_.push_back({{event.time, event.number}, now_ - event.time});
  else
    ++clock_steps_over_cap_;
  now_ = event.time;
  implements_.take_clock_step();
  requests_.take_clock_step();
  bus_clock_.take_clock_step();
  next_tick_ = now_ + kTickPeriod;
  next_stream_watch_ = next_rates_ = now_ + kSecond;
  for (auto& bus : buses_) {
    bus->last = now_;
    roll_window(*bus, now_);
  }
  // Whoever does not speak again is silent from the step on, not from a time that is yet to come.
  for (Party& party : parties_)
    for (Mark* mark : {&party.last, &party.returned, &party.silence.start})
      mark->time = std::min(mark->time, now_);
  for (const Stream& stream : streams_.all()) {
    Stream& s = const_cast<Stream&>(stream);
    s.skip_gap = true;
    s.last = now_;
    s.steady_since = now_;
  }
}

void Examiner::Impl::roll_window(BusWatch& bus, TimeNs time) {
  // Windows of 1 s stand on whole seconds from the capture's start, so that all buses share them.
  if (bus.window_bits > bus.peak_bits) {
    bus.peak_bits = bus.window_bits;
    bus.peak_at = bus.window_end - kSecond;
  }
  if (bus.window_end != INT64_MIN) {
    // Seconds in which nothing came were empty; a very long pause is drawn as one.
    TimeNs window = bus.window_end - kSecond;
    bus.window_series.add(window, static_cast<double>(bus.window_bits));
    for (int skipped = 0; skipped < kMostEmptyWindows && time - window >= 2 * kSecond && time > window; ++skipped)
      bus.window_series.add(window += kSecond, 0);
  }
  bus.total_bits += bus.window_bits;
  bus.window_bits = 0;
  const SpanNs since = time - start_;
  const SpanNs whole = since / kSecond - (since % kSecond < 0 ? 1 : 0);
  bus.window_end = start_ + (whole + 1) * kSecond;
}

void Examiner::Impl::take_frame(const Event& event) {
  BusWatch& bus = event.bus < buses_.size() ? *buses_[event.bus] : bus_of(event.bus);
  const TimeNs time = event.time;
  if (event.flags & (kShortData | kUntimed)) [[unlikely]] {
    if (event.flags & kShortData) ++short_frames_;
    if (event.flags & kUntimed) ++untimed_;
  }
  if (bus.damage_open) [[unlikely]]
    end_damage(bus, event);
  if (bus.frames == 0) [[unlikely]] {
    bus.first_frame_time = time;
  } else if (time - bus.last > BusWatch::kShortestGap) [[unlikely]] {
    note_gap(bus, event);
  }
  if (bus.hearing.deaf()) [[unlikely]]
    bus.hearing.take_frame(time);
  bus.last = time;
  bus.last_frame = event.number;
  ++bus.frames;
  if (time >= bus.window_end) [[unlikely]]
    roll_window(bus, time);

  if ((event.flags & (kExtendedId | kRemote | kFd)) != kExtendedId) [[unlikely]] {
    take_odd_frame(bus, event);
    return;
  }

  const bool kept = event.bus < kMaxBuses;
  Stream* found = kept ? streams_.find(StreamTable::key_of(event.bus, event.id)) : nullptr;
  if (found == nullptr) [[unlikely]] {
    if (kept) found = new_stream(event);
    if (found == nullptr) {
      bus.window_bits += wire_bits(event);
      return;
    }
  }
  Stream& stream = *found;

  const std::uint64_t payload = payload_word(event);
  const bool same_shape = event.len == stream.last_len && event.id == stream.id;
  if (same_shape && payload == stream.last_payload) {
    ++stream.repeats;
  } else {
    if (!same_shape) {
      stream.wire = wire_header(event.id, true, false, event.len);
      stream.id = event.id;
      stream.last_len = event.len;
    }
    stream.last_payload = payload;
    stream.bits = static_cast<std::uint16_t>(wire_bits(stream.wire, event.data, event.len));
  }
  bus.window_bits += stream.bits;

  // A claim may give the stream to another party, so it is taken before the frame is booked.
  if (stream.subscribed && stream.pgn == kPgnAddressClaimed) [[unlikely]]
    network_.take_claim(event);

  Party& party = *stream.party;
  if (stream.skip_gap || party.silent) [[unlikely]] {
    begin_gap_anew(stream, event);
  } else if (const auto pause = stream.pace.add(time - stream.last)) [[unlikely]] {
    // It paused on its own accord: its rhythm counts only if it keeps it up most of the time. A pause before
    // it had one only begins its life anew: a first word at power-up is no run.
    if (pause == Pace::kPause) {
      ++stream.pauses;
      stream.paused += time - stream.last;
      stream.steady_since = time;
    } else {
      stream.paused = time - stream.first;
    }
  }
  stream.last = time;
  stream.last_frame = event.number;
  ++stream.count;

  if (party.attention) [[unlikely]]
    heard_again(party, event, stream);
  party.last = {time, event.number};
  ++party.frames;

  if (stream.subscribed) [[unlikely]]
    deliver(event, stream);
}

void Examiner::Impl::begin_gap_anew(Stream& stream, const Event& event) {
  if (stream.role.pace == PaceRole::never) return;  // never sampled
  stream.skip_gap = false;
  // Stays far from the largest span whatever the clock does.
  if (stream.count > 0)
    stream.paused = std::min(kLongestPause, stream.paused) +
                    std::clamp<SpanNs>(span_between(stream.last, event.time), 0, kLongestPause);
  if (stream.stopped) {
    stream.stopped = false;
    stream.steady_since = event.time;
    for (auto it = stops_.rbegin(); it != stops_.rend(); ++it)
      if (it->bus == stream.bus && it->pgn == stream.pgn && it->source == stream.source &&
          it->destination == stream.destination) {
        if (!it->resumed) it->resumed = Mark{event.time, event.number};
        break;
      }
  }
}

void Examiner::Impl::end_damage(BusWatch& bus, const Event& event) {
  bus.hearing.take_damage(*bus.damage_open, event.time);
  note_loss(event.bus, *bus.damage_open, event.time);
  bus.damage_open.reset();
}

void Examiner::Impl::take_odd_frame(BusWatch& bus, const Event& event) {
  if (event.flags & kFd) {
    ++bus.fd;
    return;
  }
  if (event.flags & kRemote) ++bus.remote;
  if (!(event.flags & kExtendedId)) ++bus.eleven_bit;
  bus.window_bits += wire_bits(event);
}

Party& Examiner::Impl::anonymous(BusIndex index, Address address) {
  Party*& slot = anonymous_[index][address];
  if (slot == nullptr) {
    parties_.emplace_back();
    slot = &parties_.back();
    slot->bus = index;
    slot->address = address;
  }
  return *slot;
}

Party& Examiner::Impl::party_of(ControllerId id) {
  if (controller_party_.size() <= static_cast<std::size_t>(id)) controller_party_.resize(id + 1, nullptr);
  Party*& slot = controller_party_[id];
  if (slot == nullptr) {
    parties_.emplace_back();
    slot = &parties_.back();
    slot->controller = id;
    slot->bus = network_.controllers()[id].bus;
  }
  return *slot;
}

Stream* Examiner::Impl::new_stream(const Event& event) {
  Stream* stream = streams_.add(StreamTable::key_of(event.bus, event.id));
  if (stream == nullptr) return nullptr;
  stream->bus = event.bus;
  stream->pgn = pgn_of(event.id);
  stream->source = source_of(event.id);
  stream->destination = destination_of(event.id);
  stream->role = role_of(schema_, event.id);
  stream->subscribed =
      is_subscribed(stream->pgn) || ImplementWatch::wants(stream->pgn) || BusClock::wants(stream->pgn) ||
      MachineFacts::wants(stream->pgn);
  stream->fast_packet = Transfers::is_fast_packet(stream->pgn);
  stream->first = stream->steady_since = event.time;
  Party*& voice = buses_[event.bus]->voices[stream->source];
  if (voice == nullptr) voice = &anonymous(event.bus, stream->source);
  stream->party = voice;
  voice->streams.push_back(stream);
  if (voice->frames == 0) voice->first = {event.time, event.number};
  for (const Party::Retired& retired : voice->retired)
    if (retired.pgn == stream->pgn && retired.destination == stream->destination) {
      stream->pace = retired.pace;
      stream->steady_since = retired.steady_since;
      stream->repeats = retired.repeats;
    }
  return stream;
}

void Examiner::Impl::detach(Party& party, Address address) {
  BusWatch& bus = *buses_[party.bus];
  Party& stranger = anonymous(party.bus, address);
  for (Stream* stream : party.streams) {
    if (stream->pace.has_rhythm()) {
      const auto same = [&](const Party::Retired& r) {
        return r.pgn == stream->pgn && r.destination == stream->destination;
      };
      std::erase_if(party.retired, same);
      if (party.retired.size() < kMaxRetired)
        party.retired.push_back(
            {stream->pgn, stream->destination, stream->pace, stream->steady_since, stream->repeats});
    }
    stream->party = &stranger;
    stream->pace = Pace{};
    stream->skip_gap = true;
    stream->repeats = 0;
    stream->stopped = false;
    stranger.streams.push_back(stream);
  }
  stranger.left_behind = stranger.attention = true;
  party.streams.clear();
  bus.voices[address] = &stranger;
}

void Examiner::Impl::attach(Party& party, Address address, TimeNs time) {
  BusWatch& bus = *buses_[party.bus];
  Party* stranger = bus.voices[address];
  const bool fresh = party.frames == 0;
  if (stranger != nullptr && stranger->controller == kNobody) {
    stranger->left_behind = false;
    stranger->attention = stranger->silent || stranger->returning;
    if (fresh && stranger->frames > 0 && time - stranger->last.time <= kAdoptWithin) {
      // The same unit, heard before anybody asked for its NAME: all that is known of it is its own.
      const ControllerId id = party.controller;
      Party blank;
      blank.bus = stranger->bus;
      blank.address = stranger->address;
      party = std::move(*stranger);
      *stranger = std::move(blank);
      party.controller = id;
      for (Stream* stream : party.streams) stream->party = &party;
      party.silence.party = &party;
      for (SilenceRecord& record : silences_)
        if (record.party == stranger) record.party = &party;
      for (StreamStop& stop : stops_)
        if (stop.party == stranger) stop.party = &party;
      requests_.rename(*stranger, party);
      std::replace(supplies_.begin(), supplies_.end(), stranger, &party);
      for (SupplyLow& low : supply_lows_)
        if (low.party == stranger) low.party = &party;
      for (Party* other : supplies_)
        if (other->supply.differs_from_whom == stranger) other->supply.differs_from_whom = &party;
    } else {
      for (Stream* stream : stranger->streams) {
        stream->party = &party;
        stream->pace = Pace{};
        stream->skip_gap = true;
        stream->repeats = 0;
        stream->steady_since = time;
        for (const Party::Retired& retired : party.retired)
          if (retired.pgn == stream->pgn && retired.destination == stream->destination) {
            stream->pace = retired.pace;
            stream->steady_since = retired.steady_since;
            stream->repeats = retired.repeats;
          }
        party.streams.push_back(stream);
      }
      stranger->streams.clear();
    }
  }
  party.address = address;
  bus.voices[address] = &party;
}

void Examiner::Impl::on_owner(BusIndex, Address address, ControllerId from, ControllerId to, TimeNs time) {
  if (from != kNobody) detach(party_of(from), address);
  if (to != kNobody) attach(party_of(to), address, time);
}

}  // namespace tramlog
