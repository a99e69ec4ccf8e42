// Who has fallen silent, who is back, which stream ended, when nothing at all was heard. Records only; what a
// silence means is judged when the capture is known to its end (silence_verdicts.cpp).
#include <algorithm>

#include "exam/examiner_impl.hpp"

namespace tramlog {
namespace {

// Dependable: see DEVELOPERS.md, "How silence is judged".
constexpr std::uint32_t kFewGapsOfCyclic = 3;
constexpr double kCyclicTolerance = 1.6;
constexpr SpanNs kShortestLoosePeriod = 50 * kMillisecond;  // faster ones may be one burst
constexpr std::uint32_t kLearnedGaps = 20;
constexpr SpanNs kLearnedLife = 10 * kSecond;  // with payloads that repeat
constexpr unsigned kLearnedShare = 600;        // permille
constexpr SpanNs kPlainLife = 20 * kSecond;    // without
constexpr unsigned kPlainShare = 950;
constexpr SpanNs kClockLife = 12 * kSecond;  // without, but like a clock and without one pause
constexpr unsigned kClockShare = 990;
constexpr unsigned kRepeatsOneIn = 20;
constexpr int kActiveTenths = 6;          // of all its time a stream with pauses keeps its rhythm
constexpr SpanNs kStretch = 5 * kSecond;  // between two pauses, on average
// A controller is back when a rhythm of its own is; anything else it says first may be an answer.
constexpr SpanNs kReturnPatience = 3 * kSecond;
constexpr SpanNs kClaimQuiet = 200 * kMillisecond;  // of the 250 ms claim settle time, less a jitter

}  // namespace

SpanNs period_of(const Stream& stream) {
  if (stream.pace.has_rhythm()) return stream.pace.period();
  return stream.role.nominal_period > 0 ? stream.role.nominal_period : stream.pace.median();
}

SpanNs limit_of(const Stream& stream) {
  const SpanNs by_pace = std::max(kShortestSilence, kLostPeriods * period_of(stream));
  if (stream.role.silence_limit == 0) return by_pace;
  // The partners' timeout rules where the sender keeps its nominal pace.
  return period_of(stream) > stream.role.nominal_period * 3 / 2 ? by_pace : stream.role.silence_limit;
}

bool rhythmic(const Stream& stream) {
  if (stream.role.pace == PaceRole::never || stream.stopped) return false;
  if (stream.pace.has_rhythm()) return true;
  if (stream.pace.gaps() < kFewGapsOfCyclic) return false;
  // What must be cyclic is taken at its word; an unknown message must not have paused yet.
  const SpanNs period = period_of(stream);
  const SpanNs seen = stream.role.pace == PaceRole::cyclic ? stream.pace.median() : stream.pace.longest();
  return period >= kShortestLoosePeriod &&
         static_cast<double>(seen) <= kCyclicTolerance * static_cast<double>(period);
}

bool dependable(const Stream& stream) {
  if (!rhythmic(stream)) return false;
  if (stream.stops > 0 && stream.last - stream.steady_since < kLifeAfterStop) return false;
  const Pace& pace = stream.pace;
  if (stream.role.pace == PaceRole::cyclic) return true;
  if (!pace.has_rhythm() || pace.gaps() < kLearnedGaps) return false;
  // Time in which it kept its rhythm, and all the time there was. Whoever pauses may do so because it has
  // nothing to say: its rhythm counts only if it keeps it up most of the time and in long stretches.
  const SpanNs whole = stream.last - stream.first;
  const SpanNs active = whole - stream.paused;
  if (stream.paused > 0 && (active / kActiveTenths < whole / 10 || active < kStretch * (stream.pauses + 1)))
    return false;
  const bool repeats = std::uint64_t{stream.repeats} * kRepeatsOneIn >= stream.count;
  if (repeats && active >= kLearnedLife && pace.share_permille() >= kLearnedShare) return true;
  if (stream.paused == 0 && active >= kClockLife && pace.share_permille() >= kClockShare) return true;
  return active >= kPlainLife && pace.share_permille() >= kPlainShare;
}

void Examiner::Impl::tick() {
  next_tick_ = now_ + kTickPeriod;
  transfers_.advance(now_);
  implements_.advance(now_);
  requests_.advance(now_, streams_);
  for (Party& party : parties_) watch_party(party);
  if (now_ >= next_stream_watch_) {
    next_stream_watch_ = now_ + kSecond;
    watch_streams();
  }
  if (now_ >= next_rates_) {
    // On whole seconds from the begin, as far as anything is heard; so looks do not drift against each other.
    next_rates_ += kSecond;
    if (next_rates_ <= now_) next_rates_ = now_ + kSecond;
    watch_rates();
  }
}

void Examiner::Impl::watch_party(Party& party) {
  if (party.began_claim_to_weigh && now_ - party.first.time >= kClaimQuiet) {
    party.began_claim_to_weigh = false;
    if (party.last.time == party.first.time) party.began_with_claim = true;
  }
  if (party.silent || party.frames == 0 || party.last.time > now_) return;
  const SpanNs quiet = now_ - party.last.time;
  if (party.returning) {
    if (party.claim_to_weigh && now_ - party.returned.time >= kClaimQuiet) {
      party.returned_with_claim = true;
      confirm_return(party);
    } else if (quiet > party.silence.limit ||
               now_ - party.returned.time > std::max(kReturnPatience, 3 * party.silence.fastest_period)) {
      cancel_return(party);
    }
    return;
  }
  if (quiet <= kShortestSilence) return;
  SpanNs shortest_limit = 0;
  for (const Stream* stream : judged_streams(party)) {
    const SpanNs limit = limit_of(*stream);
    shortest_limit = shortest_limit == 0 ? limit : std::min(shortest_limit, limit);
  }
  if (shortest_limit > 0 && quiet > shortest_limit) fall_silent(party);
}

std::vector<const Stream*> Examiner::Impl::judged_streams(const Party& party) const {
  std::vector<const Stream*> judged;
  // Of others than the chosen ones a slice holds only what concerns these: it does not tell whether they live.
  if (!is_whole(party)) return judged;
  for (const Stream* stream : party.streams) {
    // Not heard since a silence, a restart or a step of the clock: it has its time to begin again. Too long
    // before the party's last frame: it had ended before.
    if (stream->skip_gap || !rhythmic(*stream) || party.last.time - stream->last > limit_of(*stream))
      continue;
    judged.push_back(stream);
  }
  return judged;
}

void Examiner::Impl::fall_silent(Party& party) {
  SilenceRecord record;
  record.party = &party;
  record.address = party.address;
  record.bus = party.bus;
  record.start = party.last;
  for (const Stream* stream : judged_streams(party)) {
    const SpanNs period = period_of(*stream);
    const SpanNs limit = limit_of(*stream);
    // A rhythm proves a silence that is too long for it, not a shorter one.
    record.dependable = record.dependable || (dependable(*stream) && limit < now_ - party.last.time);
    if (stream->role.pace == PaceRole::cyclic || stream->paused == 0)
      record.limit_unpaused = record.limit_unpaused == 0 ? limit : std::min(record.limit_unpaused, limit);
    const bool to_all = stream->destination == kGlobalAddress;
    if (to_all) record.limit_to_all = record.limit_to_all == 0 ? limit : std::min(record.limit_to_all, limit);
    if (record.limit == 0 || limit < record.limit) {
      record.limit = limit;
      record.addressee = to_all ? std::nullopt : std::optional(stream->destination);
    }
    record.fastest_period = record.fastest_period == 0 ? period : std::min(record.fastest_period, period);
    record.slowest_period = std::max(record.slowest_period, period);
    record.rate_per_s += 1e9 / static_cast<double>(period);
    ++record.rhythms;
  }
  for (const Party::Retired& retired : party.retired) {
    const SpanNs period = retired.pace.period();
    if (record.rhythms > 0 || period == 0) break;
    record.fastest_period = record.slowest_period = period;
    record.limit = std::max(kShortestSilence, kLostPeriods * period);
  }
  record.on_purpose = party.farewell && record.start.time - party.farewell->time <= kSecond;
  party.silence = record;
  party.silent = true;
  party.attention = true;
}

void Examiner::Impl::heard_again(Party& party, const Event& event, const Stream& stream) {
  // Whose NAME has moved on, and yet it talks: one NAME in two boxes.
  if (party.left_behind) network_.take_unowned(event.bus, source_of(event.id), event.time, event.number);
  if (party.silent) {
    party.silent = false;
    party.returning = true;
    party.returned = {event.time, event.number};
    // The pause is no sample of any pace.
    for (Stream* own : party.streams)
      if (own != &stream) own->skip_gap = true;
  }
  if (!party.returning) return;
  if (party.claim_to_weigh && stream.pgn != kPgnAddressClaimed) {
    // Whoever starts keeps quiet for the settle time after its claim; whoever only answered goes on with its
    // rhythm.
    party.claim_to_weigh = false;
    party.returned_with_claim =
        event.time - party.returned.time >= kClaimQuiet || party.silence.fastest_period > kClaimQuiet;
  }
  const bool rhythm = rhythmic(stream) && period_of(stream) <= std::max(2 * party.silence.fastest_period,
                                                                        party.silence.limit / 2);
  const bool nominal = stream.role.pace == PaceRole::cyclic;
  if (rhythm || nominal || party.returned_with_claim) confirm_return(party);
}

void Examiner::Impl::confirm_return(Party& party) {
  party.silence.end = party.returned;
  party.silence.reclaimed = party.returned_with_claim;
  // A claim that was only an answer does not make a silence of a short pause.
  const bool silence =
      party.returned_with_claim || party.returned.time - party.silence.start.time > party.silence.limit;
  const bool doubtful = !party.silence.dependable && !party.returned_with_claim;
  if (!silence || (doubtful && ++party.doubtful_silences > kMaxDoubtfulSilences)) {
  } else if (silences_.size() < kMaxSilences) {
    silences_.push_back(party.silence);
  } else {
    ++silences_over_cap_;
  }
  // Without a restart it may as well have paused on its own.
  if (!party.returned_with_claim)
    for (Stream* stream : party.streams)
      if (stream->role.pace == PaceRole::learned) {
        ++stream->pauses;
        stream->steady_since = party.returned.time;
      }
  party.returning = party.silent = false;
  party.attention = party.left_behind;
  party.returned_with_claim = party.claim_to_weigh = false;
}

void Examiner::Impl::cancel_return(Party& party) {
  // It lives, but the rhythm did not come back: that was the end of a message, not of the controller.
  for (Stream* stream : party.streams)
    if (dependable(*stream) && now_ - stream->last > limit_of(*stream)) note_stop(party, *stream);
  party.returning = party.silent = false;
  party.attention = party.left_behind;
  party.returned_with_claim = party.claim_to_weigh = false;
}

void Examiner::Impl::watch_streams() {
  for (Party& party : parties_) {
    if (party.silent || party.returning || party.last.time > now_) continue;
    for (Stream* stream : party.streams) {
      // Stopped: its controller was heard after the stream's own limit had passed. After a dropout or a
      // restart each stream has its time to begin again.
      if (stream->skip_gap) continue;
      if (party.last.time - stream->last <= kShortestSilence || !dependable(*stream)) continue;
      if (party.last.time - stream->last <= limit_of(*stream)) continue;
      note_stop(party, *stream);
    }
  }
}

void Examiner::Impl::note_stop(Party& party, Stream& stream) {
  StreamStop stop;
  stop.bus = stream.bus;
  stop.pgn = stream.pgn;
  stop.source = stream.source;
  stop.destination = stream.destination;
  stop.party = &party;
  stop.last = {stream.last, stream.last_frame};
  stop.period = period_of(stream);
  stop.cyclic = stream.role.pace == PaceRole::cyclic;
  stream.stopped = true;
  ++stream.stops;
  stream.skip_gap = true;
  if (stops_.size() < kMaxStops)
    stops_.push_back(stop);
  else
    ++stops_over_cap_;
}

GapRecord Examiner::Impl::gap_until_now(BusIndex index, const BusWatch& bus) const {
  GapRecord gap;
  gap.start = {bus.last, bus.last_frame};
  if (bus.statistics_mark == bus.last) {
    gap.statistics = bus.statistics_since_frame;
    // Counters that began anew in between tell nothing.
    if (bus.received_last > bus.received_first) gap.received = bus.received_last - bus.received_first;
  }
  for (const Stream& stream : streams_.all()) {
    if (stream.bus != index || !dependable(stream)) continue;
    if (bus.last - stream.last > limit_of(stream)) continue;
    const SpanNs period = period_of(stream);
    gap.fastest_period = gap.fastest_period == 0 ? period : std::min(gap.fastest_period, period);
    ++gap.rhythms;
  }
  return gap;
}

void Examiner::Impl::note_gap(BusWatch& bus, const Event& event) {
  bus.hearing.take_gap(bus.last, event.time);
  GapRecord gap = gap_until_now(event.bus, bus);
  if (gap.rhythms == 0) return;
  if (event.time - bus.last <= std::max(kShortestSilence, kLostPeriods * gap.fastest_period)) return;
  gap.end = Mark{event.time, event.number};
  for (const Stream& stream : streams_.all())
    if (stream.bus == event.bus) const_cast<Stream&>(stream).skip_gap = true;
  if (bus.gaps.size() < BusWatch::kMaxGaps)
    bus.gaps.push_back(gap);
  else
    ++bus.over_cap;
}

}  // namespace tramlog
