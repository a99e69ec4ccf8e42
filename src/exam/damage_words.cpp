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

std::string damage_more_words(const DamageTally& tally) {
  std::string words;
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
  return words;
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
