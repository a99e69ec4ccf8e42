// Speed: which sources are there, which one is used, when one is lost, when they disagree (fact sheet, process data, 5.10).
#include <fmt/format.h>

#include <array>
#include <cmath>

#include "implement/line_tools.hpp"
#include "implement/watch.hpp"
#include "isobus/process_data.hpp"

namespace tramlog::machine {

extern const MachineWatchKind speed;

namespace {

constexpr Pgn kSelected = 0xF022;
constexpr std::uint16_t kSpeedSourceDdi = 400;
constexpr const char* kSelectedWords[] = {"wheel", "ground", "navigation", "blended", "simulated", "reserved", "reserved", "not available"};
constexpr std::uint64_t kRegular = 20;  // so many messages make a source that counts

SpanNs span_of(double seconds) {
  return static_cast<SpanNs>(seconds * 1e9);
}

class Speed final : public MachineWatch {
 public:
  explicit Speed(const MachineContext& context) : context_(context) {}

  void on_message(const Message& message) override {
    now_ = message.start;
    const Mark at{message.start, message.first_frame};
    if (message.pgn == kSelected && message.data.size() >= 8) {
      const unsigned code = message.data[7] >> 2 & 7;  // B8 bits 5-3
      if (code != selected_code_) {
        if (changes_.size() < kMaxMoments)
          changes_.push_back({at, fmt::format("machine selected speed is from {}", kSelectedWords[code])});
        ++change_count_;
        selected_code_ = code;
      }
    }
    if (message.pgn == kPgnProcessData) {
      const auto told = parse_process_message(message.data);
      if (told && told->command == ProcessCommand::value && told->variable.ddi == kSpeedSourceDdi &&
          told->raw != implement_source_) {
        implement_source_ = told->raw;
        if (changes_.size() < kMaxMoments)
          changes_.push_back({at, fmt::format("an implement reports speed source {}", told->raw)});
        ++change_count_;
      }
    }
    if (MachineState::wants(message.pgn)) look(at);
  }

  void on_time(TimeNs now) override {
    now_ = now;
    look({now, 0});
  }

  void on_blind() override {
    for (Track& track : tracks_) track.pause = true;
    differ_since_.reset();
    zero_since_.reset();
  }

  void conclude(TimeNs end, std::vector<CheckLine>& lines) override {
    now_ = end;
    bool any = false;
    std::string there;
    for (std::size_t i = 0; i < kSpeedSources; ++i)
      if (tracks_[i].valid > 0) {
        any = true;
        there += fmt::format("{}{}", there.empty() ? "" : ", ", speed_source_term(static_cast<SpeedSource>(i)));
      }
    if (!any) {
      for (const char* code : {"speed.source", "speed.source-lost", "speed.sources-differ", "speed.zero-while-working"})
        lines.push_back(make_line(code, "speed", "", Verdict::not_shown, "Not shown on this bus: nobody tells a speed (PGN 65096, 65097, 61474 or 129026)."));
      return;
    }
    CheckLine source = make_line("speed.source", "speed", "", Verdict::pass,
                                 fmt::format("On the bus: {}.{}", there,
                                             change_count_ > 1 ? fmt::format(" The source in use changed {}.", counted_words(change_count_ - 1, "time", "times"))
                                                               : ""));
    source.moments = changes_;
    lines.push_back(std::move(source));
    lost_lines(end, lines);
    difference_line(lines);
    zero_line(lines);
  }

 private:
  struct Track {
    std::uint64_t valid = 0, losses = 0;
    TimeNs last_valid = 0;
    Mark last_mark;
    bool lost = false, pause = false;
    double longest_s = 0;
    std::optional<TimeNs> first_loss, last_end;
    std::vector<Moment> moments;
  };

  void look(Mark at) {
    const TimeNs now = at.time;
    for (std::size_t i = 0; i < kSpeedSources; ++i) {
      const auto source = static_cast<SpeedSource>(i);
      const auto& reading = context_.machine.reading(source);
      Track& track = tracks_[i];
      if (!reading) continue;
      const bool fresh = reading->mm_s && (track.valid == 0 || reading->at.time > track.last_valid);
      if (fresh) {
        if (track.lost) {
          const double length = to_seconds(reading->at.time - track.last_valid);
          track.longest_s = std::max(track.longest_s, length);
          track.last_end = reading->at.time;
          if (track.moments.size() < kMaxMoments)
            track.moments.push_back({reading->at, fmt::format("{} is back after {}", speed_source_term(source), seconds_words(length))});
        }
        track.lost = false;
        track.pause = false;
        ++track.valid;
        track.last_valid = reading->at.time;
        track.last_mark = reading->at;
      } else if (track.valid >= kRegular && !track.lost && !track.pause &&
                 now - track.last_valid > span_of(context_.limits["speed.lost_s"])) {
        track.lost = true;
        ++track.losses;
        if (!track.first_loss) track.first_loss = track.last_valid;
        const bool told = reading->at.time > track.last_valid;
        const auto instead = context_.machine.source(now);
        if (track.moments.size() < kMaxMoments)
          track.moments.push_back(
              {track.last_mark, fmt::format("last valid {}; then {}; {}", speed_source_term(source),
                                            told ? (reading->in_error ? "told to be in error" : "told to be not available") : "no message",
                                            instead ? fmt::format("{} goes on", speed_source_term(*instead)) : "no other source is left")});
      }
    }
    compare(at);
    stand(at);
  }

  void compare(Mark at) {
    // Wheel slip and filters make small differences; a wrong calibration makes large and lasting ones.
    const SpeedSource pairs[][2] = {{SpeedSource::wheel, SpeedSource::ground},
                                    {SpeedSource::wheel, SpeedSource::positioning},
                                    {SpeedSource::ground, SpeedSource::positioning}};
    double worst = 0;
    std::string words;
    for (const auto& pair : pairs) {
      const auto& a = context_.machine.reading(pair[0]);
      const auto& b = context_.machine.reading(pair[1]);
      if (!a || !b || !a->mm_s || !b->mm_s) continue;
      if (at.time - a->at.time > kSecond || at.time - b->at.time > kSecond) continue;
      const double fast = std::max(*a->mm_s, *b->mm_s), slow = std::min(*a->mm_s, *b->mm_s);
      if (fast < 500) continue;  // standing and starting
      ++compared_;
      const double pct = 100 * (fast - slow) / fast;
      if (pct <= context_.limits["speed.differ_pct"] || fast - slow < context_.limits["speed.differ_mm_s"] || pct <= worst) continue;
      worst = pct;
      words = fmt::format("{} {:.2f} m/s, {} {:.2f} m/s", speed_source_term(pair[0]), *a->mm_s / 1000, speed_source_term(pair[1]),
                          *b->mm_s / 1000);
    }
    if (worst == 0) {
      if (differ_since_ && differ_told_ && !differ_moments_.empty())
        differ_longest_s_ = std::max(differ_longest_s_, to_seconds(at.time - differ_since_->time));
      differ_since_.reset();
      differ_told_ = false;
      return;
    }
    if (!differ_since_) differ_since_ = at;
    differ_worst_ = std::max(differ_worst_, worst);
    if (!differ_told_ && at.time - differ_since_->time > span_of(context_.limits["speed.differ_for_s"])) {
      differ_told_ = true;
      ++differ_count_;
      if (differ_moments_.size() < kMaxMoments) differ_moments_.push_back({*differ_since_, words});
    }
    if (differ_told_) differ_longest_s_ = std::max(differ_longest_s_, to_seconds(at.time - differ_since_->time));
  }

  void stand(Mark at) {
    const auto speed_now = context_.machine.speed_mm_s(at.time);
    const bool zero = speed_now && *speed_now < context_.limits["speed.working_mm_s"];
    if (speed_now) ++stand_looked_;
    const auto work = context_.any_work_on();
    if (work) work_told_ = true;
    if (!zero || !work.value_or(false)) {
      zero_since_.reset();
      zero_told_ = false;
      return;
    }
    if (!zero_since_) zero_since_ = at;
    const double length = to_seconds(at.time - zero_since_->time);
    if (!zero_told_ && length > context_.limits["speed.zero_while_working_s"]) {
      zero_told_ = true;
      ++zero_count_;
      if (zero_moments_.size() < kMaxMoments)
        zero_moments_.push_back({*zero_since_, fmt::format("{:.2f} m/s with work on", *speed_now / 1000)});
    }
    if (zero_told_) zero_longest_s_ = std::max(zero_longest_s_, length);
  }

  void lost_lines(TimeNs end, std::vector<CheckLine>& lines) {
    for (std::size_t i = 0; i < kSpeedSources; ++i) {
      const Track& track = tracks_[i];
      if (track.valid < kRegular) continue;
      const char* term = speed_source_term(static_cast<SpeedSource>(i));
      if (track.losses == 0) {
        lines.push_back(make_line("speed.source-lost", "speed", term, Verdict::pass,
                                  fmt::format("Never without a valid value for more than {} ({} values).",
                                              seconds_words(context_.limits["speed.lost_s"]), track.valid)));
        continue;
      }
      const double longest = track.lost ? std::max(track.longest_s, to_seconds(end - track.last_valid)) : track.longest_s;
      CheckLine line = make_line("speed.source-lost", "speed", term, Verdict::attention,
                                 fmt::format("Lost {}, first at {}, for {} at the longest{}; limit {}.",
                                             counted_words(track.losses, "time", "times"), time_of_day(*track.first_loss),
                                             seconds_words(longest), track.lost ? " (until the recording's end)" : "",
                                             seconds_words(context_.limits["speed.lost_s"])));
      with(line, "losses", static_cast<double>(track.losses), 0);
      with(line, "longest_s", longest);
      line.moments = track.moments;
      line.start = track.first_loss;
      if (!track.lost) line.end = track.last_end;
      lines.push_back(std::move(line));
    }
  }

  void difference_line(std::vector<CheckLine>& lines) {
    if (compared_ == 0) {
      lines.push_back(make_line("speed.sources-differ", "speed", "", Verdict::not_shown,
                                "Not shown on this bus: fewer than two speed sources were valid while the machine drove."));
      return;
    }
    if (differ_count_ == 0) {
      lines.push_back(make_line("speed.sources-differ", "speed", "", Verdict::pass,
                                fmt::format("Wheel, ground and positioning speed agree within {:.0f} %, or differ for less than {}.",
                                            context_.limits["speed.differ_pct"], seconds_words(context_.limits["speed.differ_for_s"]))));
      return;
    }
    CheckLine line = make_line("speed.sources-differ", "speed", "", Verdict::attention,
                               fmt::format("Two speed sources differ by up to {:.1f} % for {} at the longest, first at {}: {}; limit {:.0f} % for {}.",
                                           differ_worst_, seconds_words(differ_longest_s_), time_of_day(differ_moments_.front().at.time),
                                           differ_moments_.front().text, context_.limits["speed.differ_pct"],
                                           seconds_words(context_.limits["speed.differ_for_s"])));
    with(line, "worst_pct", differ_worst_, 1);
    with(line, "longest_s", differ_longest_s_);
    line.moments = differ_moments_;
    line.start = differ_moments_.front().at.time;
    lines.push_back(std::move(line));
  }

  void zero_line(std::vector<CheckLine>& lines) {
    if (!work_told_) {
      lines.push_back(make_line("speed.zero-while-working", "speed", "", Verdict::not_shown,
                                "Not shown on this bus: no implement tells a work state."));
      return;
    }
    if (zero_count_ == 0) {
      lines.push_back(make_line("speed.zero-while-working", "speed", "", Verdict::pass,
                                fmt::format("Work was never on for more than {} at standstill.",
                                            seconds_words(context_.limits["speed.zero_while_working_s"]))));
      return;
    }
    CheckLine line = make_line("speed.zero-while-working", "speed", "", Verdict::attention,
                               fmt::format("Speed zero while working {}, first at {}, for {} at the longest; limit {}. Either the machine "
                                           "stood with work on, or the speed that the implement gets is wrong.",
                                           counted_words(zero_count_, "time", "times"), time_of_day(zero_moments_.front().at.time),
                                           seconds_words(zero_longest_s_), seconds_words(context_.limits["speed.zero_while_working_s"])));
    with(line, "longest_s", zero_longest_s_);
    line.moments = zero_moments_;
    line.start = zero_moments_.front().at.time;
    lines.push_back(std::move(line));
  }

  const MachineContext& context_;
  TimeNs now_ = 0;
  std::array<Track, kSpeedSources> tracks_;
  unsigned selected_code_ = 99;
  std::uint32_t implement_source_ = 0xFFFFFFFF;
  std::vector<Moment> changes_;
  std::uint64_t change_count_ = 0;
  std::uint64_t compared_ = 0, differ_count_ = 0, zero_count_ = 0, stand_looked_ = 0;
  std::optional<Mark> differ_since_, zero_since_;
  bool differ_told_ = false, zero_told_ = false, work_told_ = false;
  double differ_worst_ = 0, differ_longest_s_ = 0, zero_longest_s_ = 0;
  std::vector<Moment> differ_moments_, zero_moments_;
};

}  // namespace

const MachineWatchKind speed{"speed", [](Pgn pgn) { return pgn == kSelected; },
                             [](const MachineContext& context) -> std::unique_ptr<MachineWatch> {
                               return std::make_unique<Speed>(context);
                             }};

}  // namespace tramlog::machine
