#include "exam/damage_words.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"

namespace tramlog {
namespace {

void take(DamageTally& tally, Damage::Kind kind, TimeNs time) {
  tally.first = tally.places == 0 ? time : std::min(tally.first, time);
  tally.last = tally.places == 0 ? time : std::max(tally.last, time);
  ++tally.places;
  if (is_loss(kind)) tally.last_loss = losses_in(tally) == 1 ? time : std::max(tally.last_loss, time);
  if (kind == Damage::Kind::stamp) ++tally.stamps;
  if (kind == Damage::Kind::doubtful) {
    ++tally.doubtful;
    tally.last_doubt = std::max(tally.last_doubt, time);
  }
  if (kind == Damage::Kind::breaks_off) {
    ++tally.ends;
    tally.last_end = std::max(tally.last_end, time);
  }
}

}  // namespace

DamageTally damage_here(const Conclusions& all) {
  DamageTally tally;
  for (const DamageRecord& damage : all.damage) take(tally, damage.kind, damage.time);
  tally.bytes = all.damaged_bytes;
  return tally;
}

DamageTally damage_before(const Conclusions& all) {
  DamageTally tally;
  for (const RecordedNote& noted : all.recorder.notes) {
    if (noted.note.kind != RecorderNote::Kind::lost) continue;
    take(tally, lost_kind(noted.note), noted.time);
    const std::uint64_t sum = tally.bytes + noted.note.number;
    tally.bytes = sum < tally.bytes ? UINT64_MAX : sum;
  }
  return tally;
}

bool anything_lost(const Conclusions& all) {
  return !all.damage.empty() || damage_before(all).places > 0;
}

std::size_t losses_in(const DamageTally& tally) {
  return tally.places - tally.stamps - tally.doubtful;
}

std::string damage_sum_words(const DamageTally& tally, const std::string& lost) {
  std::string words = losses_in(tally) > 0 || tally.places == 0 ? "; " + lost : "";
  if (tally.ends > 0)
    words += fmt::format("; {} at {}, and what came after is not known",
                         tally.ends == 1 ? "the recording breaks off"
                                         : fmt::format("{} files break off, the last", tally.ends),
                         format_time_of_day(tally.last_end));
  if (tally.doubtful > 0)
    words += fmt::format("; a checksum does not hold, so what was read up to {} may be wrong",
                         format_time_of_day(tally.last_doubt));
  if (tally.stamps > 0)
    words += fmt::format("; {} far from those around {} and {} put right",
                         counted(tally.stamps, "time stamp was", "time stamps were"),
                         tally.stamps == 1 ? "it" : "them", tally.stamps == 1 ? "was" : "were");
  return words.substr(2);
}

bool goes_back_to_a_hole(const Conclusions& all, TimeNs to) {
  constexpr SpanNs kMeets = 2 * kSecond;
  const auto begins_here = [to](TimeNs start, TimeNs end) {
    return magnitude(span_between(start, to)) <= kMeets && span_between(start, end) > kMeets;
  };
  for (const BusSummary& bus : all.buses)
    for (const BlindSpan& span : bus.blind)
      if (begins_here(span.start, span.end)) return true;
  return std::any_of(all.silences.begin(), all.silences.end(), [&](const BusSilence& silence) {
    return silence.end && begins_here(silence.start.time, silence.end->time);
  });
}

const char* damage_code(Damage::Kind kind) {
  constexpr const char* kCodes[] = {"unreadable", "breaks-off", "doubtful", "time-stamp"};
  return kCodes[static_cast<std::size_t>(kind)];
}

std::string damage_words(const DamageRecord& damage) {
  std::string words = damage.reason;
  if (damage.kind == Damage::Kind::stamp) return words + "; it was put right";
  if (damage.kind == Damage::Kind::doubtful) return words;
  words = fmt::format("{}, {}", counted(damage.bytes, "byte", "bytes"), words);
  if (damage.kind == Damage::Kind::breaks_off)
    words += "; the recording breaks off here, what came after is not known";
  return words;
}

}  // namespace tramlog
