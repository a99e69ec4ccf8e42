// What each silence means: a controller stopped, the whole bus stopped, the recorder stopped hearing, or the
// machine was switched off (fact sheet, network and diagnostics, 6.1, 7.6, 10.1, 10.2).
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "exam/conclude.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

// Traffic may go on a little after the key, and the last speed message may come just before the silence.
constexpr SpanNs kKeySlack = 2 * kSecond;
// A controller that is not back this long after the bus is has a trouble of its own; displays boot that long.
// Without a key switch on the bus: what ends while the engine runs down to standstill, or soon after, was
// switched off.
constexpr SpanNs kEngineRunDown = 5 * kSecond;
constexpr SpanNs kAfterEngineStop = 10 * kSecond;
constexpr SpanNs kSlowBoot = kMinute;
constexpr SpanNs kSuspensionHold = 6 * kSecond;  // a DM13 stop ends without a hold after this (one source)
constexpr SpanNs kGroupWindow = 500 * kMillisecond;
constexpr SpanNs kGroupReturn = 30 * kSecond;  // boot times differ; beyond it they did not come back together

}  // namespace

SpanNs Conclude::blind_time(BusIndex bus, TimeNs from, TimeNs to) const {
  if (bus >= out_.buses.size()) return 0;
  SpanNs sum = 0;
  TimeNs counted_to = from;
  for (const BlindSpan& span : out_.buses[bus].blind) {
    const TimeNs start = std::max(span.start, counted_to);
    const TimeNs end = std::min(span.end, to);
    if (end > start) {
      sum += end - start;
      counted_to = end;
    }
  }
  return sum;
}

std::optional<KeySwitch> Conclude::key_before(TimeNs time) const {
  std::optional<KeySwitch> latest;
  for (const KeySwitch& key : keys_)
    if (key.time <= time) latest = key;
  return latest;
}

std::optional<TimeNs> Conclude::key_on_after(TimeNs time) const {
  for (const KeySwitch& key : keys_)
    if (key.time > time && key.on) return key.time;
  return std::nullopt;
}

std::optional<Mark> Conclude::engine_stop_near(TimeNs start, std::optional<TimeNs> end) const {
  if (!keys_.empty()) return std::nullopt;  // the key itself is reported: that is better evidence
  for (const auto& bus : state_.buses_)
    for (const Mark& stop : bus->engine_stops) {
      if (start < stop.time - kEngineRunDown || start > stop.time + kAfterEngineStop) continue;
      const auto again = std::find_if(bus->engine_starts.begin(), bus->engine_starts.end(),
                                      [&](const Mark& mark) { return mark.time > stop.time; });
      // Whoever is back while the engine still stands was not switched off with it.
      if (end && (again == bus->engine_starts.end() || *end < again->time - kAfterEngineStop)) continue;
      return stop;
    }
  return std::nullopt;
}

bool Conclude::ended_in_order(BusIndex bus, const GapRecord& gap) const {
  // A cut ends every rhythm within one of its periods; a power-down ends them one after the other.
  unsigned all = 0;
  unsigned earlier = 0;
  for (const SilenceRecord& record : silences_) {
    if (record.bus != bus || record.rhythms == 0 || record.end) continue;
    if (gap.start.time - record.start.time > kMinute) continue;
    ++all;
    if (record.start.time + 5 * record.fastest_period / 2 < gap.start.time) ++earlier;
  }
  return all >= 3 && earlier * 2 >= all;
}

void Conclude::bus_silences() {
  for (BusIndex b = 0; b < out_.buses.size(); ++b) {
    const BusWatch& bus = *state_.buses_[b];
    std::vector<GapRecord> gaps = bus.gaps;
    GapRecord last = state_.gap_until_now(b, bus);
    if (bus.frames > 0 && last.rhythms > 0 &&
        state_.now_ - bus.last > std::max(kShortestSilence, kLostPeriods * last.fastest_period))
      gaps.push_back(last);
    for (const GapRecord& gap : gaps) {
      BusSilence silence;
      silence.bus = b;
      silence.start = gap.start;
      silence.end = gap.end;
      silence.judged_until = gap.end ? gap.end->time : state_.now_;
      silence.statistics = gap.statistics;
      const SpanNs length = silence.judged_until - gap.start.time;
      const SpanNs heard = length - blind_time(b, gap.start.time, silence.judged_until);
      const auto key = key_before(gap.start.time + kKeySlack);
      if (suspended(b, gap.start.time, silence.judged_until, kSecond)) continue;
      if (heard <= std::max(kShortestSilence, kLostPeriods * gap.fastest_period)) {
        silence.verdict = BusSilence::Verdict::blind;
        silence.why = "the recorder was blind for nearly all of it";
      } else if (key && !key->on) {
        silence.verdict = BusSilence::Verdict::power_down;
        silence.why = fmt::format("the key switch was off since {}", mark_words({key->time, key->frame}));
      } else if (const auto stop = engine_stop_near(gap.start.time,
                                                    gap.end ? std::optional(gap.end->time) : std::nullopt)) {
        silence.verdict = BusSilence::Verdict::power_down;
        silence.why = fmt::format("the engine came to a standstill at {}", mark_words(*stop));
      } else if (!gap.end && ended_in_order(b, gap)) {
        silence.verdict = BusSilence::Verdict::power_down;
        silence.why = "the controllers had ended their traffic one after the other";
      } else if (gap.statistics > 0 && bus.hearing.has_pace()) {
        silence.verdict = BusSilence::Verdict::silent;
        silence.why =
            fmt::format("{} within it prove that the recorder was running, and its interface counted {}",
                        counted(gap.statistics, "statistics block", "statistics blocks"),
                        counted(gap.received, "frame", "frames"));
      } else {
        silence.verdict = BusSilence::Verdict::unknown;
        silence.why =
            "the capture holds no statistics blocks that could tell whether the recorder was hearing";
      }
      out_.silences.push_back(silence);
    }
  }
  std::stable_sort(out_.silences.begin(), out_.silences.end(),
                   [](const BusSilence& a, const BusSilence& b) { return a.start.time < b.start.time; });
}

TimeNs Conclude::suspended_until(const Suspension& s) {
  return s.end.value_or(s.last_word + kSuspensionHold);
}

bool Conclude::suspended(BusIndex bus, TimeNs start, TimeNs back, SpanNs limit) const {
  for (const Suspension& s : state_.buses_[bus]->suspensions) {
    const TimeNs end = suspended_until(s);
    if (start >= s.start.time - kSecond && start <= end && back <= end + limit + kSecond) return true;
  }
  return false;
}

bool Conclude::suspended(const SilenceRecord& record) const {
  return suspended(record.bus, record.start.time, record.end ? record.end->time : state_.now_, record.limit);
}

// Went and started within a long time in which the recorder could not hear, such as between two recordings:
// the machine may have been switched off and on, and nobody saw who went.
bool Conclude::went_while_blind(const SilenceRecord& record, TimeNs until) const {
  constexpr SpanNs kLong = 10 * kSecond;
  if (record.bus >= out_.buses.size()) return false;
  for (const BlindSpan& span : out_.buses[record.bus].blind)
    if (span.end - span.start >= kLong && span.start >= record.start.time &&
        span.start - record.start.time <= record.limit && span.end <= until && until - span.end <= kSlowBoot)
      return true;
  return false;
}

bool Conclude::others_started_with(const SilenceRecord& record) const {
  constexpr SpanNs kTogether = 2 * kSecond;
  const TimeNs from = record.start.time - kTogether, to = record.start.time + kTogether;
  const auto first =
      std::lower_bound(starters_.begin(), starters_.end(), from,
                       [](const SilenceRecord* s, TimeNs time) { return s->start.time < time; });
  return std::any_of(first, starters_.end(), [&](const SilenceRecord* s) {
    return s->start.time <= to && s->bus == record.bus && s->party != record.party && record.end &&
           std::abs(s->end->time - record.end->time) <= kTogether;
  });
}

std::optional<Dropout> Conclude::verdict_of(const SilenceRecord& told) {
  SilenceRecord record = told;
  if (record.answered && record.reclaimed && (record.addressee || !others_started_with(record)))
    record.reclaimed = false;
  const TimeNs until = record.end ? record.end->time : state_.now_;
  const SpanNs length = until - record.start.time;
  const SpanNs heard = length - blind_time(record.bus, record.start.time, until);
  // Never missing for a time when the recorder was blind. A re-claim right after a pause stands for itself.
  const SpanNs needed = record.reclaimed && heard == length ? 0 : record.limit;
  if (heard <= needed) return std::nullopt;
  if (record.end && went_while_blind(record, until)) return std::nullopt;
  // Who speaks to one controller only stops when that one is gone.
  if (record.addressee && !record.reclaimed &&
      heard <= (record.limit_to_all > 0 ? record.limit_to_all : heard)) {
    const bool bus_gone = std::any_of(out_.silences.begin(), out_.silences.end(), [&](const BusSilence& s) {
      return s.bus == record.bus && s.start.time <= until && s.judged_until >= record.start.time;
    });
    const bool addressee_gone =
        std::any_of(silences_.begin(), silences_.end(), [&](const SilenceRecord& other) {
          return other.bus == record.bus && other.address == *record.addressee &&
                 other.start.time <= record.start.time + record.limit &&
                 (other.end ? other.end->time : state_.now_) >= record.start.time;
        });
    if (addressee_gone && !bus_gone) return std::nullopt;
  }
  // It did not come back, so nothing tells a paused message from a lost controller but a rhythm that never
  // paused, or the slowest being overdue as well.
  const bool unpaused_overdue = record.limit_unpaused > 0 && heard > record.limit_unpaused;
  if ((!record.end || record.unconfirmed) && !unpaused_overdue &&
      heard <= std::max(kShortestSilence, kLostPeriods * record.slowest_period))
    return std::nullopt;
  // Not proven when it fell silent: what it did before and since must prove it now. A restart proves itself.
  if (!record.dependable && !record.reclaimed) {
    const auto& streams = record.party->streams;
    if (std::none_of(streams.begin(), streams.end(),
                     [&](const Stream* s) {
                       return s->first < record.start.time && dependable(*s) && limit_of(*s) < heard;
                     }))
      return std::nullopt;
  }

  const auto controller = index_of(record.party);
  Dropout dropout;
  dropout.controller = controller;
  dropout.address = record.address;
  dropout.bus = record.bus;
  dropout.start = record.start;
  dropout.end = record.end;
  dropout.judged_until = until;
  dropout.reclaimed = record.reclaimed;
  dropout.slowest_period = record.slowest_period;
  dropout.fastest_period = record.fastest_period;
  dropout.messages_missed = static_cast<std::uint64_t>(std::llround(to_seconds(length) * record.rate_per_s));

  for (const BusSilence& silence : out_.silences) {
    if (silence.bus != record.bus || silence.start.time > until || silence.judged_until < record.start.time)
      continue;
    // With the bus, or before it and still gone: within three of its own periods.
    const bool with_it = record.start.time + 3 * record.fastest_period >= silence.start.time;
    const bool spans_it = !record.end || (silence.end && record.end->time >= silence.end->time);
    if (!spans_it) continue;
    if (silence.verdict == BusSilence::Verdict::power_down) {
      const auto key = key_before(silence.start.time + kKeySlack);
      const TimeNs from = key && !key->on ? key->time - kKeySlack : silence.start.time - kMinute;
      if (record.start.time >= from) dropout.kind = DropoutKind::power_down;
    } else if (with_it && silence.verdict != BusSilence::Verdict::blind) {
      const bool still_gone =
          silence.end && (record.end ? record.end->time : state_.now_) - silence.end->time > kSlowBoot;
      if (still_gone) continue;
      dropout.kind = DropoutKind::bus_silent;
      dropout.cause_unknown = silence.verdict == BusSilence::Verdict::unknown;
    }
  }
  if (dropout.kind == DropoutKind::controller) {
    // Others may still talk while the tractor winds down.
    const auto key = key_before(record.start.time);
    if (key && !key->on) {
      const auto on = key_on_after(key->time);
      if (!record.end || !on || record.end->time >= *on - kKeySlack) dropout.kind = DropoutKind::power_down;
    }
    if (engine_stop_near(record.start.time, record.end ? std::optional(record.end->time) : std::nullopt))
      dropout.kind = DropoutKind::power_down;
  }
  if (dropout.kind != DropoutKind::power_down && (record.on_purpose || suspended(record))) {
    seen_.intended.push_back(
        {controller, record.address, record.bus, record.start, record.end, record.on_purpose});
    return std::nullopt;
  }
  return dropout;
}

void Conclude::dropouts() {
  for (const SilenceRecord& record : silences_)
    if (record.reclaimed && !record.answered && record.end) starters_.push_back(&record);
  std::stable_sort(starters_.begin(), starters_.end(),
                   [](const auto* a, const auto* b) { return a->start.time < b->start.time; });
  for (const SilenceRecord& record : silences_)
    if (auto dropout = verdict_of(record)) out_.dropouts.push_back(*dropout);
  known_silences();
  std::stable_sort(out_.dropouts.begin(), out_.dropouts.end(), [&](const Dropout& a, const Dropout& b) {
    if (a.start.time != b.start.time) return a.start.time < b.start.time;
    if (a.bus != b.bus) return a.bus < b.bus;
    const auto name = [&](const Dropout& d) {
      return d.controller ? out_.controllers[*d.controller].name : Name();
    };
    return name(a) < name(b);
  });
  groups();
}

// In a slice a unit may be silent from before its begin, or so long at its end that only what is known from before can tell.
void Conclude::known_silences() {
  constexpr int kPauses = 3;
  for (const Party& party : state_.parties_) {
    if (!party.known_before || party.known_pause < 0 || party.controller == kNobody || !state_.is_whole(party)) continue;
    const BusWatch& bus = *state_.buses_[party.bus];
    const SpanNs limit = std::max(kShortestSilence, kPauses * party.known_pause);
    const auto controller = index_of(&party);
    const auto silence = [&](Mark start, std::optional<Mark> end) {
      const TimeNs until = end ? end->time : state_.now_;
      if (span_between(start.time, until) - blind_time(party.bus, start.time, until) <= limit) return;
      // The bus as a whole, a power-down, or told already.
      if (bus.last <= start.time || key_off_before(start.time)) return;
      for (const Dropout& other : out_.dropouts)
        if (other.controller == controller && other.start.time <= until && (!other.end || other.end->time >= start.time))
          return;
      Dropout dropout;
      dropout.controller = controller;
      dropout.address = party.address;
      dropout.bus = party.bus;
      dropout.start = start;
      dropout.end = end;
      dropout.reclaimed = end && party.began_with_claim && end->time == party.first.time;
      dropout.judged_until = until;
      dropout.fastest_period = dropout.slowest_period = party.known_pause;
      out_.dropouts.push_back(dropout);
    };
    if (party.frames == 0) {
      silence(*party.known_before, std::nullopt);
    } else {
      silence(*party.known_before, party.first);
      silence(party.last, std::nullopt);
    }
  }
}

bool Conclude::key_off_before(TimeNs time) const {
  const auto key = key_before(time + kKeySlack);
  return key && !key->on;
}

void Conclude::groups() {
  unsigned next = 1;
  auto& all = out_.dropouts;
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (all[i].group) continue;
    std::vector<std::size_t> members{i};
    SpanNs window = std::max(kGroupWindow, 2 * all[i].fastest_period);
    for (std::size_t j = i + 1; j < all.size(); ++j) {
      window = std::max(window, std::min(2 * all[j].fastest_period, 10 * kSecond));
      if (all[j].start.time - all[i].start.time > window) break;
      if (all[j].group || all[j].bus != all[i].bus || all[j].kind != all[i].kind) continue;
      const bool alike = all[j].end.has_value() == all[i].end.has_value() &&
                         (!all[i].end || std::abs(all[j].end->time - all[i].end->time) <= kGroupReturn);
      if (alike) members.push_back(j);
    }
    if (members.size() < 2) continue;
    for (const std::size_t m : members) all[m].group = next;
    ++next;
  }
}

void Conclude::states() {
  for (const Dropout& dropout : out_.dropouts) {
    if (!dropout.controller || dropout.kind == DropoutKind::power_down || dropout.cause_unknown) continue;
    ControllerState& state = out_.controllers[*dropout.controller].state;
    if (state == ControllerState::refused) continue;
    if (!dropout.end)
      state = ControllerState::lost;
    else if (state == ControllerState::present)
      state = ControllerState::intermittent;
  }
}

}  // namespace tramlog
