#include <fmt/format.h>

#include "exam/check.hpp"
#include "exam/recorder_words.hpp"

namespace tramlog::checks {

extern const Check damaged_capture;

namespace {

// What a slice or a mended capture says of the one behind it.
void mended(const Conclusions& all, std::vector<Fault>& faults) {
  Fault fault;
  fault.code = damaged_capture.code;
  fault.severity = Severity::note;
  std::uint64_t bytes = 0, places = 0;
  for (const RecordedNote& noted : all.recorder.notes) {
    if (noted.note.kind != RecorderNote::Kind::lost) continue;
    if (places++ == 0) fault.start = noted.time;
    fault.end = noted.time;
    bytes += noted.note.number;
    if (fault.evidence.size() < 8) fault.evidence.push_back({{noted.time, 0}, note_words(noted.note)});
  }
  if (places == 0) return;
  fault.text = fmt::format("This capture was made from one that was damaged in {}; {} of it could not be read.",
                           counted(places, "place", "places"), counted(bytes, "byte", "bytes"));
  faults.push_back(std::move(fault));
}

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  if (all.damage.empty() && all.short_frames == 0) return mended(all, faults);
  Fault fault;
  fault.code = damaged_capture.code;
  fault.severity = Severity::warning;
  fault.start = all.start;
  fault.end = all.end;
  fault.text = fmt::format(
      "The capture is damaged in {}, {} could not be read{}.", counted(all.damage.size(), "place", "places"),
      counted(all.damaged_bytes, "byte", "bytes"),
      all.short_frames > 0
          ? fmt::format("; {} shorter than told", counted(all.short_frames, "frame is", "frames are"))
          : "");
  for (const DamageRecord& damage : all.damage) {
    if (fault.evidence.size() >= 8) break;
    fault.evidence.push_back({{all.start, 0},
                              fmt::format("file {}, offset {}: {}, {}", damage.file + 1, damage.offset,
                                          counted(damage.bytes, "byte", "bytes"), damage.reason)});
  }
  faults.push_back(std::move(fault));
}

}  // namespace

const Check damaged_capture{
    "capture.damaged", "Bytes of the capture could not be read; reading went on at the next plausible block.",
    judge};

}  // namespace tramlog::checks
