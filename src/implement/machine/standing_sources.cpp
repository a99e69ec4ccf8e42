// Sources that are frozen: a speed (PGN 65096, 65097, 61474, 129026 or 65256) or a position (129025) whose
// messages go on, bit by bit the same, while the machine moves. Lines:
//   speed.frozen     one for each source that froze, else one that tells how long each stood at the longest
//   position.frozen
// A value that stands is no proof: at a steady cruise a coarse sensor tells nothing else. Proof is the
// source's own distance that stands with it, or what the other sources tell meanwhile (standing_speeds.hpp).
// A speed frozen at zero is no matter of this watch: see speed.zero-while-working.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "implement/frozen_position.hpp"
#include "implement/line_tools.hpp"
#include "implement/standing_speeds.hpp"
#include "implement/watch.hpp"

namespace tramlog::machine {

extern const MachineWatchKind standing_sources;

namespace {

constexpr Pgn kWheel = 0xFE48, kSelected = 0xF022, kRapidPosition = 129025;
constexpr unsigned kSimulated = 4;  // source of 61474
constexpr SpanNs kLookEvery = 100 * kMillisecond;

class StandingSources final : public MachineWatch {
 public:
  explicit StandingSources(const MachineContext& context)
      : context_(context), speeds_(context.limits), position_(context.limits) {}

  void on_message(const Message& message) override {
    const Mark at{message.start, message.first_frame};
    if (message.pgn == kRapidPosition) {
      if (message.data.size() < 8) return;
      position_.take(at, message.source, message.data);
      position_.judge(at, speeds_);
      return;
    }
    const auto source = speed_source_of(message.pgn);
    if (!source || message.data.size() < 8) return;
    const auto& reading = context_.machine.reading(*source);
    // Not the sender that counts.
    if (!reading || reading->at.time != at.time || reading->at.frame != at.frame) return;
    if (message.pgn == kWheel && (message.data[7] >> 2 & 3) == 0)
      key_off_ = at.time;
    else if (message.pgn == kWheel)
      key_off_.reset();
    const bool simulated = message.pgn == kSelected && (message.data[7] >> 2 & 7) == kSimulated;
    if (!reading->mm_s || simulated || key_off_) {
      speeds_.end(*source, at.time);
    } else {
      const bool has_distance = *source != SpeedSource::positioning;
      const std::uint32_t distance = load_le32(message.data.data() + 2);
      speeds_.take(*source, at, message.source | message.pgn << 8, *reading->mm_s,
                   has_distance && distance < kGreatestDistance ? std::optional(distance) : std::nullopt);
    }
    look(at.time);
  }

  void on_time(TimeNs now) override {
    look(now);
    position_.pass(now);
  }

  void on_blind() override {
    speeds_.blind();
    position_.blind();
    looked_.reset();
  }

  void conclude(TimeNs end, std::vector<CheckLine>& lines) override {
    speeds_.conclude(end, lines);
    position_.conclude(end, lines);
  }

 private:
  // A counter that is full stands for good.
  static constexpr std::uint32_t kGreatestDistance = 0xFAFFFFFF;

  void look(TimeNs now) {
    if (looked_ && span_between(*looked_, now) >= 0 && span_between(*looked_, now) < kLookEvery) return;
    looked_ = now;
    speeds_.judge(now);
  }

  const MachineContext& context_;
  StandingSpeeds speeds_;
  FrozenPosition position_;
  std::optional<TimeNs> looked_, key_off_;
};

}  // namespace

const MachineWatchKind standing_sources{
    "speed", [](Pgn pgn) { return pgn == kRapidPosition || MachineState::wants(pgn); },
    [](const MachineContext& context) -> std::unique_ptr<MachineWatch> {
      return std::make_unique<StandingSources>(context);
    }};

}  // namespace tramlog::machine
