// Speed: which sources are there, which one is used, when one is lost, when they disagree, and work at
// standstill (fact sheet, process data, 5.10).
#include <fmt/format.h>

#include <array>
#include <bitset>
#include <cmath>

#include "implement/line_tools.hpp"
#include "implement/speed_choice.hpp"
#include "implement/speed_comparison.hpp"
#include "implement/spell.hpp"
#include "implement/watch.hpp"
#include "isobus/process_data.hpp"

namespace tramlog::machine {

extern const MachineWatchKind speed;

namespace {

constexpr Pgn kWheel = 0xFE48, kSelected = 0xF022;
constexpr std::uint16_t kActualSpeedDdi = 397, kSpeedSourceDdi = 400;
constexpr std::uint64_t kRegular = 20;  // so many valid values make a source that can be missed
// A source that comes more rarely than every 100 ms is missed after so many of its periods.
constexpr double kMissedPeriods = 5;
constexpr SpanNs kLookEvery = 100 * kMillisecond;  // sources come every 100 ms
constexpr SpanNs kImplementHolds = 6 * kSecond;    // its task message comes every 2 s (3 missed: gone, 6.1)

class Speed final : public MachineWatch {
 public:
  explicit Speed(const MachineContext& context)
      : context_(context),
        working_mm_s_(context.limits["speed.working_mm_s"]),
        lost_s_(context.limits["speed.lost_s"]),
        zero_s_(context.limits["speed.zero_while_working_s"]),
        comparison_(context.limits) {}

  void on_message(const Message& message) override {
    const Mark at{message.start, message.first_frame};
    heard_ = heard_ ? std::max(*heard_, message.start) : message.start;
    if (message.pgn == kSelected && message.data.size() >= 8) choice_.selected(at, message.data[7] >> 2 & 7);
    if (message.pgn == kWheel && message.data.size() >= 8) key_off_ = (message.data[7] >> 2 & 3) == 0;
    if (message.pgn == kPgnProcessData) take_process_data(message, at);
    if (MachineState::wants(message.pgn)) look(at);
  }

  void on_time(TimeNs now) override { look({now, 0}); }

  void on_blind() override {
    for (Track& track : tracks_) {
      track.pause = true;
      track.missing.forget();
    }
    watched_from_.reset();
    comparison_.blind();
    zero_.forget();
    choice_.blind();
  }

  void conclude(TimeNs end, std::vector<CheckLine>& lines) override {
    if (tracks_.none_valid()) {
      bool told = false;
      for (std::size_t i = 0; i < kSpeedSources; ++i)
        told = told || context_.machine.reading(static_cast<SpeedSource>(i)).has_value();
      for (const char* code :
           {"speed.source", "speed.source-lost", "speed.sources-differ", "speed.zero-while-working"})
        lines.push_back(make_line(
            code, "speed", "", Verdict::not_shown,
            told
                ? "Not shown on this bus: speed messages are sent, but never with a valid speed."
                : "Not shown on this bus: nobody tells a speed (PGN 65096, 65097, 61474, 129026 or 65256)."));
      return;
    }
    source_line(end, lines);
    lost_lines(end, lines);
    lines.push_back(comparison_.line(end));
    zero_line(end, lines);
  }

 private:
  struct Track {
    std::uint64_t valid = 0;
    double rhythm_s = 0;  // usual distance of valid values
    Mark last;            // latest valid one
    double last_mm_s = 0;
    bool pause = false;  // the recorder was deaf since
    Spell missing;
    std::vector<Moment> back;
  };
  struct Tracks : std::array<Track, kSpeedSources> {
    bool none_valid() const {
      for (const Track& track : *this)
        if (track.valid > 0) return false;
      return true;
    }
  };
  void take_process_data(const Message& message, Mark at) {
    if (message.data.empty()) return;
    const auto command = static_cast<ProcessCommand>(message.data[0] & 0x0F);
    if (command == ProcessCommand::status) task_controllers_.set(message.source);
    if (task_controllers_.test(message.source)) return;
    if (command != ProcessCommand::value && command != ProcessCommand::client_task) return;
    implement_spoke_ = message.start;
    const auto told = parse_process_message(message.data);
    if (!told || command != ProcessCommand::value) return;
    if (told->variable.ddi == kSpeedSourceDdi)
      choice_.implement(at, message.source, told->variable.element, told->raw);
    if (told->variable.ddi == kActualSpeedDdi) ++implement_speeds_;
  }

  bool work_on(TimeNs now) const {
    // An implement that has gone leaves its last state behind.
    if (!implement_spoke_ || span_between(*implement_spoke_, now) > kImplementHolds) return false;
    return context_.any_work_on().value_or(false);
  }

  void look(Mark at) {
    for (std::size_t i = 0; i < kSpeedSources; ++i) take_reading(static_cast<SpeedSource>(i));
    if (looked_ && span_between(*looked_, at.time) >= 0 && span_between(*looked_, at.time) < kLookEvery)
      return;
    looked_ = at.time;
    if (!watched_from_) watched_from_ = at.time;
    const auto now_mm_s = context_.machine.speed_mm_s(at.time);
    const bool driving = now_mm_s && *now_mm_s >= working_mm_s_;
    const bool work = work_on(at.time);
    choice_.look(at, driving, work, context_.machine.source(at.time));
    for (std::size_t i = 0; i < kSpeedSources; ++i) miss(static_cast<SpeedSource>(i), at.time, now_mm_s ? std::optional(driving) : std::nullopt, work);
    comparison_.look(at, choice_.is_simulated());
    stand(at, now_mm_s, work);
  }

  void take_reading(SpeedSource source) {
    const auto& reading = context_.machine.reading(source);
    Track& track = tracks_[static_cast<std::size_t>(source)];
    if (!reading || !reading->mm_s ||
        (track.valid > 0 && reading->at.time == track.last.time && reading->at.frame == track.last.frame))
      return;
    const double gap_s = to_seconds(span_between(track.last.time, reading->at.time));
    if (track.valid > 0 && !track.pause && gap_s > 0 && !track.missing.goes_on())
      track.rhythm_s +=
          (gap_s - track.rhythm_s) / static_cast<double>(std::min<std::uint64_t>(track.valid, 200));
    if (track.missing.good(reading->at.time) && track.back.size() < kMaxMoments)
      track.back.push_back(
          {reading->at, fmt::format("{} is back after {}", speed_source_term(source), seconds_words(gap_s))});
    comparison_.take(source, reading->at.time, *reading->mm_s);
    track.pause = false;
    ++track.valid;
    track.last = reading->at;
    track.last_mm_s = *reading->mm_s;
  }

  /// A source that is missing or invalid matters while the machine drives (by the others; if none is left, by its own last
  /// word) or works; the key is not off, and
  /// somebody else is still heard: else the whole bus went to sleep, which is another check's business.
  void miss(SpeedSource source, TimeNs now, std::optional<bool> driving, bool work) {
    Track& track = tracks_[static_cast<std::size_t>(source)];
    if (track.valid < kRegular) return;
    const double limit = std::max(lost_s_, kMissedPeriods * track.rhythm_s);
    const Mark since = *watched_from_ > track.last.time ? Mark{*watched_from_, 0} : track.last;
    if (to_seconds(span_between(since.time, now)) <= limit) return;
    const bool alive = heard_ && to_seconds(span_between(since.time, *heard_)) > limit;
    const bool matters = !key_off_ && (driving.value_or(track.last_mm_s >= working_mm_s_) || work);
    if (!alive || (!matters && !track.missing.goes_on())) return;
    track.missing.bad(now, since, limit, 0, [&] {
      const auto& reading = context_.machine.reading(source);
      const bool told = reading && reading->at.time > track.last.time;
      const auto instead = context_.machine.source(now);
      return fmt::format(
          "last valid {}, {:.2f} m/s; then {}; {}", speed_source_term(source), track.last_mm_s / 1000,
          !told               ? "no message"
          : reading->in_error ? "told to be in error"
                              : "told to be not available",
          instead ? fmt::format("{} is used", speed_source_term(*instead)) : "no other source is left");
    });
  }

  void stand(Mark at, std::optional<double> now_mm_s, bool work) {
    if (!now_mm_s) {
      zero_.pass_over();
      return;
    }
    work_told_ = work_told_ || (implement_spoke_ && context_.any_work_on().has_value());
    if (work && *now_mm_s >= working_mm_s_) moved_with_work_ = true;
    if (!work || *now_mm_s >= working_mm_s_) {
      zero_.good(at.time);
      return;
    }
    zero_.bad(at.time, at, zero_s_, 0, [&] {
      std::string others;
      for (std::size_t i = 0; i < kSpeedSources; ++i) {
        const auto source = static_cast<SpeedSource>(i);
        const auto& reading = context_.machine.reading(source);
        if (!reading || !reading->mm_s || *reading->mm_s < working_mm_s_ ||
            span_between(reading->at.time, at.time) > kSecond)
          continue;
        others += fmt::format(", but {} says {:.2f} m/s", speed_source_term(source), *reading->mm_s / 1000);
      }
      contradicted_ = contradicted_ || !others.empty();
      const auto used = context_.machine.source(at.time);
      return fmt::format("{} {:.2f} m/s with work on{}", used ? speed_source_term(*used) : "speed",
                         *now_mm_s / 1000, others);
    });
  }

  void source_line(TimeNs end, std::vector<CheckLine>& lines) const {
    std::string there;
    for (std::size_t i = 0; i < kSpeedSources; ++i)
      if (tracks_[i].valid > 0)
        there += fmt::format("{}{} ({})", there.empty() ? "" : ", ",
                             speed_source_term(static_cast<SpeedSource>(i)),
                             counted_words(tracks_[i].valid, "valid value", "valid values"));
    bool attention = false;
    const std::string more = choice_.sentences(end, attention);
    CheckLine line =
        make_line("speed.source", "speed", "", attention ? Verdict::attention : Verdict::pass, "");
    const std::string list = fmt::format("On the bus: {}.", there);
    // What needs attention comes first.
    line.text = attention      ? fmt::format("{} {}", more, list)
                : more.empty() ? list
                               : fmt::format("{} {}", list, more);
    if (implement_speeds_ > 0)
      line.text += fmt::format(" Implements tell a speed of their own (DDI 397): {}.",
                               counted_words(implement_speeds_, "value", "values"));
    line.moments = choice_.moments();
    if (attention) {
      with(line, "fall_backs", static_cast<double>(choice_.falls()), 0);
      with(line, "longest_s", choice_.longest_fall_s(end));
      line.start = choice_.first_fall();
      line.end = choice_.last_end();
    }
    lines.push_back(std::move(line));
  }

  void lost_lines(TimeNs end, std::vector<CheckLine>& lines) const {
    bool any = false;
    for (std::size_t i = 0; i < kSpeedSources; ++i) {
      const Track& track = tracks_[i];
      if (track.valid < kRegular) continue;
      any = true;
      const char* term = speed_source_term(static_cast<SpeedSource>(i));
      const double limit = std::max(lost_s_, kMissedPeriods * track.rhythm_s);
      if (track.missing.count() == 0) {
        lines.push_back(make_line(
            "speed.source-lost", "speed", term, Verdict::pass,
            fmt::format("Never without a valid value for more than {} while driving or working ({}, every {} "
                        "usually).",
                        seconds_words(limit), counted_words(track.valid, "valid value", "valid values"),
                        seconds_words(track.rhythm_s))));
        continue;
      }
      const double longest = track.missing.longest_s(end);
      CheckLine line = make_line(
          "speed.source-lost", "speed", term, Verdict::attention,
          fmt::format("Lost {}, first at {} ({}), for {} at the longest{}; limit {}.",
                      counted_words(track.missing.count(), "time", "times"),
                      time_of_day(track.missing.first()->time), track.missing.moments().front().text,
                      seconds_words(longest), track.missing.goes_on() ? " (until the recording's end)" : "",
                      seconds_words(limit)));
      with(line, "losses", static_cast<double>(track.missing.count()), 0);
      with(line, "longest_s", longest);
      // A loss and its end stand together.
      const auto& gone = track.missing.moments();
      for (std::size_t k = 0; k < gone.size(); ++k) {
        add_moment(line, gone[k].at, gone[k].text);
        if (k < track.back.size()) add_moment(line, track.back[k].at, track.back[k].text);
      }
      line.start = track.missing.first()->time;
      line.end = track.missing.end();
      lines.push_back(std::move(line));
    }
    if (!any)
      lines.push_back(
          make_line("speed.source-lost", "speed", "", Verdict::not_shown,
                    fmt::format("Not shown on this bus: no speed source told more than {} valid values.",
                                kRegular - 1)));
  }

  void zero_line(TimeNs end, std::vector<CheckLine>& lines) const {
    if (zero_.count() == 0 && (!work_told_ || !moved_with_work_)) {
      lines.push_back(make_line(
          "speed.zero-while-working", "speed", "", Verdict::not_shown,
          work_told_ ? "Not shown on this bus: no implement had work on while a speed was told."
                     : "Not shown on this bus: no implement tells a work state or section states."));
      return;
    }
    if (zero_.count() == 0) {
      lines.push_back(make_line(
          "speed.zero-while-working", "speed", "", Verdict::pass,
          fmt::format("Work was never on for more than {} with speed zero.", seconds_words(zero_s_))));
      return;
    }
    CheckLine line = make_line(
        "speed.zero-while-working", "speed", "", Verdict::attention,
        fmt::format(
            "Speed zero while working {}, first at {} ({}), for {} at the longest{}; limit {}. {}",
            counted_words(zero_.count(), "time", "times"), time_of_day(zero_.first()->time),
            zero_.moments().front().text, seconds_words(zero_.longest_s(end)),
            zero_.goes_on() ? " (until the recording's end)" : "", seconds_words(zero_s_),
            contradicted_
                ? "Another source tells that the machine moved: the speed in use is wrong."
                : "Either the machine stood with work on, or the speed that the implement gets is wrong."));
    with(line, "times", static_cast<double>(zero_.count()), 0);
    with(line, "longest_s", zero_.longest_s(end));
    line.moments = zero_.moments();
    line.start = zero_.first()->time;
    line.end = zero_.end();
    lines.push_back(std::move(line));
  }

  const MachineContext& context_;
  double working_mm_s_, lost_s_, zero_s_;
  Tracks tracks_;
  SpeedChoice choice_;
  SpeedComparison comparison_;
  Spell zero_;
  std::bitset<256> task_controllers_;  // addresses that sent a task controller's status
  std::optional<TimeNs> heard_, implement_spoke_, looked_;
  std::optional<TimeNs> watched_from_;  // without a gap of the recorder's
  std::uint64_t implement_speeds_ = 0;
  bool key_off_ = false, work_told_ = false, moved_with_work_ = false, contradicted_ = false;
};

}  // namespace

const MachineWatchKind speed{"speed", [](Pgn pgn) { return MachineState::wants(pgn); },
                             [](const MachineContext& context) -> std::unique_ptr<MachineWatch> {
                               return std::make_unique<Speed>(context);
                             }};

}  // namespace tramlog::machine
