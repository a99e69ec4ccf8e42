#include <fmt/format.h>

#include "base/text.hpp"
#include "exam/check.hpp"
#include "exam/recorder_words.hpp"

namespace tramlog::checks {

extern const Check recorder_disk;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  using Kind = RecorderNote::Kind;
  for (const RecordedNote& noted : all.recorder.notes) {
    if (noted.note.kind != Kind::disk && noted.note.kind != Kind::not_recorded) continue;
    Fault fault;
    fault.code = recorder_disk.code;
    fault.severity = noted.note.kind == Kind::not_recorded ? Severity::warning : Severity::note;
    fault.start = fault.end.emplace(noted.time);
    std::string words = note_words(noted.note);
    if (!words.empty() && words[0] >= 'a' && words[0] <= 'z') words[0] = static_cast<char>(words[0] - 'a' + 'A');
    fault.text = words + ".";
    fault.evidence.push_back({{noted.time, 0}, "noted by the recorder"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check recorder_disk{"recorder.disk",
                          "The disk of the recorder was full, read-only, failing or slow. Not a fault of the machine.", judge};

}  // namespace tramlog::checks
