// How it ended: back or not, with a new address claim or without.
#include <fmt/format.h>

#include "exam/cause_tools.hpp"
#include "exam/evidence.hpp"

namespace tramlog {
namespace {

struct Returns {
  std::size_t all = 0, back = 0, claimed = 0;
};

Returns returns(const Scene& s) {
  Returns r;
  for (const std::size_t d : s.incident.dropouts) {
    const Dropout& dropout = s.all.dropouts[d];
    ++r.all;
    r.back += dropout.end.has_value();
    r.claimed += dropout.end.has_value() && dropout.reclaimed;
  }
  return r;
}

double share(std::size_t part, std::size_t whole) {
  return static_cast<double>(part) / static_cast<double>(whole);
}

Weighing all_returned(const Scene& s) {
  const Returns r = returns(s);
  if (r.all == 0) return cannot_be_told();
  return r.back == r.all ? yes("All that went came back.") : no();
}

Weighing none_returned(const Scene& s) {
  if (s.incident.times.empty() || s.incident.dropouts.empty()) return cannot_be_told();
  // The last time counts: what failed again and again and then stayed away is gone.
  std::size_t whole = 0, away = 0;
  const IncidentTime& last = s.incident.times.back();
  for (const std::size_t d : s.incident.dropouts) {
    const Dropout& dropout = s.all.dropouts[d];
    if (dropout.start.time < last.start.time) continue;
    ++whole;
    away += !dropout.end;
  }
  if (whole == 0 || away == 0) return no();
  const Dropout& first = s.all.dropouts[s.incident.dropouts.back()];
  return to_degree(
      share(away, whole),
      fmt::format("Not heard again for {} until the capture's end; every {} was usual before.",
                  format_span(first.judged_until - last.start.time), format_span(first.fastest_period)));
}

Weighing returned_with_claim(const Scene& s) {
  if (s.incident.kind == IncidentKind::restarts)
    return yes("It made a new address claim that nobody had asked for: it had started again.");
  const Returns r = returns(s);
  if (r.back == 0) return cannot_be_told();
  return to_degree(
      share(r.claimed, r.back),
      s.one()
          ? fmt::format("{}; back with a new address claim {} of {} times: it had started again.",
                        silence_lengths(s.all, s.incident.dropouts), r.claimed, r.back)
          : fmt::format(
                "{} of {} returns came with a new address claim: the power had been off, or they were reset.",
                r.claimed, r.back));
}

Weighing returned_without_claim(const Scene& s) {
  const Returns r = returns(s);
  if (r.back == 0) return cannot_be_told();
  return to_degree(
      share(r.back - r.claimed, r.back),
      s.one()
          ? fmt::format("{}; back without a new address claim {} of {} times: it had not lost its power.",
                        silence_lengths(s.all, s.incident.dropouts), r.back - r.claimed, r.back)
          : fmt::format(
                "{} of {} returns came without a new address claim: the power had stayed on, so rather the "
                "wires or the recorder's tap.",
                r.back - r.claimed, r.back));
}

Weighing at_captures_edge(const Scene& s) {
  constexpr SpanNs kEdge = 5 * kSecond;
  if (s.incident.times.empty()) return cannot_be_told();
  const IncidentTime& last = s.incident.times.back();
  if (!last.returned && s.all.end - last.start.time < kEdge)
    return yes(fmt::format("The capture ends {} after it began.", format_span(s.all.end - last.start.time)));
  return no();
}

struct Fading {
  std::size_t judged = 0, early = 0;
  double sure = 0;  // how well the rhythms would show capacitors that hold for 10 to 300 ms
  SpanNs spread = 0;
};

// Who of a whole bus fell silent earlier than one missed message explains: capacitors hold units up for
// different times, while a wire ends all of them in one moment.
Fading fading(const Scene& s) {
  constexpr SpanNs kFast = kSecond / 2;  // slower rhythms cannot tell
  constexpr SpanNs kHold = 100 * kMillisecond;
  constexpr SpanNs kTolerance = 10 * kMillisecond;
  Fading fading;
  for (const std::size_t i : s.incident.silences)
    for (const std::size_t d : s.incident.dropouts) {
      const BusSilence& silence = s.all.silences[i];
      const Dropout& dropout = s.all.dropouts[d];
      if (dropout.bus != silence.bus || dropout.fastest_period <= 0 || dropout.fastest_period > kFast)
        continue;
      if (dropout.judged_until < silence.start.time || dropout.start.time > silence.start.time) continue;
      ++fading.judged;
      fading.sure += std::min(1.0, to_seconds(kHold) / to_seconds(dropout.fastest_period));
      const SpanNs before = silence.start.time - dropout.start.time;
      if (before <= dropout.fastest_period + dropout.fastest_period / 10 + kTolerance) continue;
      ++fading.early;
      fading.spread = std::max(fading.spread, before);
    }
  return fading;
}

Weighing one_after_the_other(const Scene& s) {
  const Fading f = fading(s);
  if (f.judged < 2) return cannot_be_told();
  if (f.early == 0) return no();
  return yes(fmt::format("{} silent up to {} before the last one: their capacitors held for different times.",
                         counted(f.early, "controller was", "controllers were"), format_span(f.spread)));
}

Weighing in_one_moment(const Scene& s) {
  const Fading f = fading(s);
  if (f.judged < 2) return cannot_be_told();
  if (f.early > 0) return no();
  return to_degree(
      (f.sure - 1) / 3,
      fmt::format("All of {} with a fast rhythm ended in one moment, as behind one wire.", f.judged));
}

constexpr EvidenceKind kAll[] = {
    {"faded-out", one_after_the_other},
    {"in-one-moment", in_one_moment},
    {"returned-with-claim", returned_with_claim},
    {"returned-without-claim", returned_without_claim},
    {"all-returned", all_returned},
    {"none-returned", none_returned},
    {"at-captures-edge", at_captures_edge},
};

}  // namespace

std::span<const EvidenceKind> evidence_of_return() {
  return kAll;
}

}  // namespace tramlog
