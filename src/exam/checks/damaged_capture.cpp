#include <fmt/format.h>

#include "exam/check.hpp"
#include "exam/damage_words.hpp"
#include "exam/recorder_words.hpp"

namespace tramlog::checks {

extern const Check damaged_capture;

namespace {

constexpr std::size_t kEvidence = 8;

// The last place is told whatever there is before it: it may be where the recording breaks off.
template <class Places, class Tell>
void tell_places(Fault& fault, const Places& places, const Tell& tell) {
  for (std::size_t i = 0; i < places.size(); ++i)
    if (i + 1 < kEvidence || i + 1 == places.size()) tell(fault, places[i]);
}

// What a slice or a mended capture says of the one behind it.
void mended(const Conclusions& all, std::vector<Fault>& faults) {
  const DamageTally tally = damage_before(all);
  if (tally.places == 0) return;
  std::vector<const RecordedNote*> places;
  for (const RecordedNote& noted : all.recorder.notes)
    if (noted.note.kind == RecorderNote::Kind::lost) places.push_back(&noted);
  Fault fault;
  fault.code = damaged_capture.code;
  fault.severity = Severity::note;
  fault.start = tally.first;
  fault.end = tally.last;
  fault.text = fmt::format(
      "This capture was made from one that was damaged in {}; {}.", counted(tally.places, "place", "places"),
      damage_sum_words(tally, counted(tally.bytes, "byte", "bytes") + " of it could not be read"));
  tell_places(fault, places, [](Fault& into, const RecordedNote* noted) {
    into.evidence.push_back({{noted->time, 0}, note_words(noted->note)});
  });
  faults.push_back(std::move(fault));
}

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  const DamageTally tally = damage_here(all);
  if (tally.places == 0 && all.short_frames == 0) return mended(all, faults);
  Fault fault;
  fault.code = damaged_capture.code;
  fault.severity = Severity::warning;
  fault.start = tally.places > 0 ? tally.first : all.start;
  fault.end = tally.places > 0 ? tally.last : all.end;
  fault.text = fmt::format(
      "The capture is damaged in {}, {}{}.", counted(tally.places, "place", "places"),
      damage_sum_words(tally, counted(tally.bytes, "byte", "bytes") + " could not be read"),
      all.short_frames > 0
          ? fmt::format("; {} shorter than told", counted(all.short_frames, "frame is", "frames are"))
          : "");
  tell_places(fault, all.damage, [](Fault& into, const DamageRecord& damage) {
    into.evidence.push_back(
        {{damage.time, 0},
         fmt::format("file {}, offset {}: {}", damage.file + 1, damage.offset, damage_words(damage))});
  });
  faults.push_back(std::move(fault));
}

}  // namespace

const Check damaged_capture{
    "capture.damaged", "Bytes of the capture could not be read; reading went on at the next plausible block.",
    judge};

}  // namespace tramlog::checks
