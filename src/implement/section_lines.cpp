#include "implement/section_lines.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <functional>

#include "implement/line_tools.hpp"
#include "implement/section_report.hpp"

namespace tramlog {
namespace {

constexpr const char* kTopic = "sections";
constexpr std::size_t kOwnLines = 4;         // so many sections get a line each
constexpr std::size_t kNamed = 8;            // so many are named with their figures
constexpr std::size_t kEnoughForSpread = 5;  // fewer delays have no spread
constexpr double kEnoughWatched_s = 10;      // less says nothing about flicker
constexpr double kEnoughOffWork_s = 1;       // .. or about sections outside work

using Reports = std::vector<const SectionReport*>;

std::string named(const Reports& sections) {
  std::string text;
  for (std::size_t i = 0; i < sections.size() && i < 2 * kNamed; ++i)
    text += (i == 0 ? "" : i + 1 == sections.size() ? " and " : ", ") + sections[i]->subject;
  if (sections.size() > 2 * kNamed) text += fmt::format(" and {} more", sections.size() - 2 * kNamed);
  return text;
}

class Teller {
 public:
  Teller(const Device& device, const std::vector<const SectionBoom*>& booms,
         std::vector<SectionReport> reports, ImplementRecord& out)
      : limits_(device.limits), reports_(std::move(reports)), out_(out) {
    for (const SectionBoom* boom : booms) {
      commands_ += boom->commands();
      bound_ += boom->commands_bound();
      told_ += boom->told();
    }
  }

  void tell(std::size_t not_kept) {
    for (const SectionReport& report : reports_) out_.sections.push_back(record_of(report));
    delays(true);
    delays(false);
    never_follows();
    flicker();
    outside_work();
    errors();
    overridden();
    if (not_kept > 0 && !out_.lines.empty())
      out_.lines.back().text += fmt::format(" {} beyond the first {} were not followed.",
                                            counted_words(not_kept, "section", "sections"), reports_.size());
  }

 private:
  CheckLine& line(const char* code, Verdict verdict, std::string text) {
    out_.lines.push_back(make_line(code, kTopic, "", verdict, std::move(text)));
    return out_.lines.back();
  }
  CheckLine& line_about(const char* code, const SectionReport& section, std::string text) {
    CheckLine& made = line(code, Verdict::attention, std::move(text));
    about(made, section);
    return made;
  }
  static void about(CheckLine& made, const SectionReport& section) {
    made.subject = section.subject;
    made.element = section.place.element;
    made.section = section.place.number;
  }
  void not_shown(const char* code, std::string_view why) {
    line(code, Verdict::not_shown, fmt::format("Not shown on this bus: {}.", why));
  }

  // Why nothing can be said about answers to commands; empty if something can.
  std::string no_answers() const {
    if (told_ == 0)
      return "no states of sections (DDI 161 to 176, or 141 of section elements in a description) were told";
    if (commands_ == 0) return "no section was commanded (DDI 290 to 305, or 289 of section elements)";
    if (bound_ == 0) return "the section control state (DDI 160) was not on, so that commands do not bind";
    return {};
  }

  // Sections of the outer quarters against those between, where hoses are longer.
  std::string outer_against_inner(bool on, CheckLine& to) const {
    std::vector<double> outer, inner;
    for (const SectionReport& report : reports_) {
      const auto& delays = on ? report.on : report.off;
      if (delays) (report.place.outer ? outer : inner).push_back(delays->spread.median);
    }
    if (outer.empty() || inner.empty()) return {};
    const double out = spread_of(outer)->median, in = spread_of(inner)->median;
    with(with(to, "outer_median_s", out), "inner_median_s", in);
    return fmt::format(" Outer sections: {}, inner ones: {} (medians).", seconds_words(out),
                       seconds_words(in));
  }

  void delays(bool on) {
    const char* code = on ? "section.on-delay" : "section.off-delay";
    const double limit = limits_[on ? "section.on_delay_s" : "section.off_delay_s"];
    const double spread_limit = limits_["section.spread_s"];
    Reports measured, late, uneven;
    std::vector<double> all;
    std::uint64_t count = 0;
    double doubt = 0;
    bool from_master = false;
    const SectionReport* worst = nullptr;
    for (const SectionReport& report : reports_) {
      const auto& delays = on ? report.on : report.off;
      if (!delays) continue;
      measured.push_back(&report);
      all.insert(all.end(), delays->values.begin(), delays->values.end());
      count += delays->count;
      doubt = std::max(doubt, report.doubt_s);
      from_master = from_master || delays->from_master;
      if (worst == nullptr || delays->spread.greatest > (on ? worst->on : worst->off)->spread.greatest)
        worst = &report;
      if (delays->spread.greatest - report.doubt_s > limit)
        late.push_back(&report);
      else if (delays->values.size() >= kEnoughForSpread &&
               delays->spread.width90 - report.doubt_s > spread_limit)
        uneven.push_back(&report);
    }
    if (measured.empty()) {
      std::string why = no_answers();
      if (why.empty())
        why = fmt::format("no section was switched {} by a command that could be told from other causes",
                          on ? "on" : "off");
      return not_shown(code, why);
    }
    const Spread spread = *spread_of(all);
    const double worst_s = (on ? worst->on : worst->off)->spread.greatest;
    std::string text;
    if (!late.empty()) text += late_words(late, on, limit);
    if (!uneven.empty()) text += (text.empty() ? "" : " ") + uneven_words(uneven, on, spread_limit);
    const bool attention = !text.empty();
    if (!attention)
      text = fmt::format(
          "{} sections switch {} {} after the command (median of {}, 90 % within {}; worst {} at {}); "
          "limit {}.",
          measured.size(), on ? "on" : "off", seconds_words(spread.median), count,
          seconds_words(spread.width90), seconds_words(worst_s), worst->subject, seconds_words(limit));
    if (!attention && measured.size() == 1)
      text = fmt::format("One section switches {} {} after the command (median of {}, worst {}); limit {}.",
                         on ? "on" : "off", seconds_words(spread.median), count, seconds_words(worst_s),
                         seconds_words(limit));
    CheckLine& made = line(code, attention ? Verdict::attention : Verdict::pass, std::move(text));
    made.text += outer_against_inner(on, made);
    if (from_master)
      made.text += " Where the work state came on after the command, the delay counts from there.";
    with(with(with(with(made, "median_s", spread.median), "spread_s", spread.width90), "worst_s", worst_s),
         "limit_s", limit);
    with(with(with(made, "message_period_s", doubt), "commands", static_cast<double>(count), 0), "sections",
         static_cast<double>(measured.size()), 0);
    if (!attention) {
      add_moment(made, *(on ? worst->on : worst->off)->worst_at,
                 worst->subject + ": the slowest answer to a command");
      return;
    }
    with(made, "late_sections", static_cast<double>(late.size()), 0);
    Reports told = late;
    told.insert(told.end(), uneven.begin(), uneven.end());
    if (told.size() == 1) about(made, *told.front());
    for (const SectionReport* section : told) {
      const JudgedDelays& own = *(on ? section->on : section->off);
      const Mark first = own.first_late.value_or(*own.worst_at);
      if (!made.start || first.time < *made.start) made.start = first.time;
      add_moment(
          made, *own.worst_at,
          fmt::format("{}: {} after this command", section->subject, seconds_words(own.spread.greatest)));
    }
  }

  std::string late_words(const Reports& late, bool on, double limit) const {
    std::string each;
    for (std::size_t i = 0; i < late.size() && i < kNamed; ++i) {
      const JudgedDelays& own = *(on ? late[i]->on : late[i]->off);
      const std::size_t beyond = static_cast<std::size_t>(std::count_if(
          own.values.begin(), own.values.end(), [&](double s) { return s - late[i]->doubt_s > limit; }));
      each += fmt::format("{}{} up to {} (median {}, {} of {})", i == 0 ? "" : ", ", late[i]->subject,
                          seconds_words(own.spread.greatest), seconds_words(own.spread.median),
                          std::max<std::size_t>(beyond, 1),
                          counted_words(own.values.size(), "command", "commands"));
    }
    if (late.size() > kNamed) each += fmt::format(" and {} more", late.size() - kNamed);
    return fmt::format("{} late: {}; limit {}.", on ? "Switch on" : "Switch off", each, seconds_words(limit));
  }
  std::string uneven_words(const Reports& uneven, bool on, double limit) const {
    std::string each;
    for (std::size_t i = 0; i < uneven.size() && i < kNamed; ++i) {
      const JudgedDelays& own = *(on ? uneven[i]->on : uneven[i]->off);
      each += fmt::format("{}{} from {} to {}", i == 0 ? "" : ", ", uneven[i]->subject,
                          seconds_words(own.spread.least), seconds_words(own.spread.greatest));
    }
    if (uneven.size() > kNamed) each += fmt::format(" and {} more", uneven.size() - kNamed);
    return fmt::format("{} unevenly: {}; the delays of one section should lie within {}.",
                       on ? "Switch on" : "Switch off", each, seconds_words(limit));
  }

  // One line for each section concerned, or one that names them all.
  void each_or_all(const char* code, const Reports& concerned,
                   const std::function<std::string(const SectionReport&)>& own_text,
                   const std::string& of_all,
                   const std::function<void(CheckLine&, const SectionReport&)>& add) {
    if (concerned.size() <= kOwnLines) {
      for (const SectionReport* section : concerned)
        add(line_about(code, *section, own_text(*section)), *section);
      return;
    }
    CheckLine& made = line(code, Verdict::attention, fmt::format("{}: {}.", of_all, named(concerned)));
    for (const SectionReport* section : concerned) {
      const std::size_t before = made.figures.size();
      add(made, *section);
      made.figures.resize(before);
    }
    with(made, "sections", static_cast<double>(concerned.size()), 0);
  }
  static void begins(CheckLine& made, TimeNs time) {
    if (!made.start || time < *made.start) made.start = time;
  }

  void never_follows() {
    const char* code = "section.never-follows";
    const double limit = limits_["section.never_follows_s"];
    Reports concerned;
    std::uint64_t followed = 0, followed_on = 0, followed_off = 0;
    for (const SectionReport& report : reports_) {
      followed_on += report.tally.followed_on;
      followed_off += report.tally.followed_off;
      if (report.tally.never_on + report.tally.never_off > 0) concerned.push_back(&report);
    }
    followed = followed_on + followed_off;
    if (!concerned.empty())
      return each_or_all(
          code, concerned,
          [&](const SectionReport& section) {
            const SectionTally& t = section.tally;
            std::string what;
            if (t.never_on > 0)
              what = fmt::format("Stays off in spite of {}",
                                 counted_words(t.never_on, "command \"on\"", "commands \"on\""));
            if (t.never_off > 0)
              what += fmt::format("{} on in spite of {}", what.empty() ? "Stays" : ", and stays",
                                  counted_words(t.never_off, "command \"off\"", "commands \"off\""));
            const std::uint64_t others = t.never_on + t.never_off - t.came_back;
            if (others > 0)
              what += fmt::format(", {} for more than {}", t.came_back > 0 ? "some" : "each",
                                  seconds_words(limit));
            if (t.came_back > 0)
              what += fmt::format(", {} until the work state went off, and came on again with it",
                                  others > 0 ? fmt::format("{} of them", t.came_back) : "each");
            return fmt::format(
                "{}; first at {}. {} followed.", what, time_of_day(first_never(t).time),
                t.followed_on + t.followed_off == 0
                    ? "No other command was"
                    : counted_words(t.followed_on + t.followed_off, "command was", "commands were"));
          },
          fmt::format("{} do not follow commands for more than {}",
                      counted_words(concerned.size(), "section", "sections"), seconds_words(limit)),
          [&](CheckLine& made, const SectionReport& section) {
            const SectionTally& t = section.tally;
            with(with(made, "never_on", static_cast<double>(t.never_on), 0), "never_off",
                 static_cast<double>(t.never_off), 0);
            with(made, "limit_s", limit);
            begins(made, first_never(t).time);
            for (const Mark mark : t.never_on_at)
              add_moment(made, mark, section.subject + ": told on, stays off");
            for (const Mark mark : t.never_off_at)
              add_moment(made, mark, section.subject + ": told off, stays on");
          });
    if (followed == 0) {
      std::string why = no_answers();
      if (why.empty()) why = "no command changed a section that was ready to follow";
      return not_shown(code, why);
    }
    CheckLine& made = line(
        code, Verdict::pass,
        fmt::format("Commands to sections are followed: {} on and {} off, none left open for more than {}.",
                    followed_on, followed_off, seconds_words(limit)));
    with(with(made, "followed_on", static_cast<double>(followed_on), 0), "followed_off",
         static_cast<double>(followed_off), 0);
  }
  static Mark first_never(const SectionTally& tally) {
    if (tally.never_on_at.empty()) return tally.never_off_at.front();
    if (tally.never_off_at.empty()) return tally.never_on_at.front();
    return tally.never_on_at.front().time <= tally.never_off_at.front().time ? tally.never_on_at.front()
                                                                             : tally.never_off_at.front();
  }

  void flicker() {
    const char* code = "section.flicker";
    const double within = limits_["section.flicker_s"], window = limits_["section.flicker_window_s"];
    const double enough = limits_["section.flickers"];
    Reports concerned;
    std::uint64_t switchings = 0;
    double watched = 0, doubt = 0;
    for (const SectionReport& report : reports_) {
      const SectionTally& t = report.tally;
      switchings += t.switchings;
      watched = std::max(watched, t.on_s + t.off_s);
      doubt = std::max(doubt, report.doubt_s);
      if (!t.flickers_at.empty() && static_cast<double>(t.flickers_dense) >= enough)
        concerned.push_back(&report);
    }
    if (!concerned.empty())
      return each_or_all(
          code, concerned,
          [&](const SectionReport& section) {
            return fmt::format(
                "Switches to and fro without a command: {} within {} each, up to {} in {}; first at {}.",
                counted_words(section.tally.flickers, "time", "times"), seconds_words(within),
                section.tally.flickers_dense, seconds_words(window),
                time_of_day(section.tally.flickers_at.front().time));
          },
          fmt::format("{} switch to and fro without a command",
                      counted_words(concerned.size(), "section", "sections")),
          [&](CheckLine& made, const SectionReport& section) {
            with(made, "flickers", static_cast<double>(section.tally.flickers), 0);
            begins(made, section.tally.flickers_at.front().time);
            for (const Mark mark : section.tally.flickers_at)
              add_moment(made, mark, section.subject + ": back again");
          });
    if (told_ == 0) return not_shown(code, no_answers());
    if (doubt > within / 2)
      return not_shown(code, fmt::format("the states of sections come every {} only, too seldom to see it",
                                         seconds_words(doubt)));
    if (watched < kEnoughWatched_s || switchings == 0)
      return not_shown(code, fmt::format("sections switched {} in {} of known states, too little to tell",
                                         counted_words(switchings, "time", "times"), seconds_words(watched)));
    with(line(code, Verdict::pass,
              fmt::format("No section switches to and fro without a command ({} in {}).",
                          counted_words(switchings, "switching", "switchings"), seconds_words(watched))),
         "switchings", static_cast<double>(switchings), 0);
  }

  void outside_work() {
    const char* code = "section.outside-work";
    const double limit = limits_["section.outside_work_s"];
    Reports concerned;
    double watched = 0;
    for (const SectionReport& report : reports_) {
      watched = std::max(watched, report.tally.off_work_s);
      if (report.tally.outside_s > 0) concerned.push_back(&report);
    }
    if (!concerned.empty())
      return each_or_all(
          code, concerned,
          [&](const SectionReport& section) {
            return fmt::format(
                "On while the work state is off: {} in all, at most {} at a stretch; limit {}. First at {}.",
                seconds_words(section.tally.outside_s), seconds_words(section.tally.longest_outside_s),
                seconds_words(limit), time_of_day(section.tally.outside_at->time));
          },
          fmt::format("{} are on while the work state is off, for more than {}",
                      counted_words(concerned.size(), "section", "sections"), seconds_words(limit)),
          [&](CheckLine& made, const SectionReport& section) {
            with(with(made, "outside_work_s", section.tally.outside_s), "longest_s",
                 section.tally.longest_outside_s);
            with(made, "limit_s", limit);
            begins(made, section.tally.outside_at->time);
            add_moment(made, *section.tally.outside_at, section.subject + ": on, work state off");
          });
    if (told_ == 0) return not_shown(code, no_answers());
    if (watched < kEnoughOffWork_s)
      return not_shown(
          code,
          "neither boom nor device told again and again that its work state (DDI 141) is off while states "
          "of sections were known");
    with(line(code, Verdict::pass,
              fmt::format("Sections are off while the work state is off (it was for {}).",
                          seconds_words(watched))),
         "work_state_off_s", watched);
  }

  void errors() {
    const char* code = "section.error";
    const double limit = limits_["section.error_s"];
    Reports concerned;
    for (const SectionReport& report : reports_)
      if (report.tally.error_s > 0 && report.tally.error_s >= limit && report.tally.error_at)
        concerned.push_back(&report);
    if (!concerned.empty())
      return each_or_all(
          code, concerned,
          [](const SectionReport& section) {
            return fmt::format(
                "Reports an error for {}; first at {}. Trouble codes of the same time may name the cause.",
                seconds_words(section.tally.error_s), time_of_day(section.tally.error_at->time));
          },
          fmt::format("{} report an error", counted_words(concerned.size(), "section", "sections")),
          [&](CheckLine& made, const SectionReport& section) {
            with(made, "error_s", section.tally.error_s);
            begins(made, section.tally.error_at->time);
            add_moment(made, *section.tally.error_at, section.subject + ": error");
          });
    if (told_ == 0) return not_shown(code, no_answers());
    with(line(code, Verdict::pass,
              fmt::format("No section reports an error ({}).", counted_words(told_, "message", "messages"))),
         "messages", static_cast<double>(told_), 0);
  }

  void overridden() {
    const char* code = "section.overridden";
    const double limit = limits_["section.overridden_s"];
    Reports concerned;
    bool told = false;
    double all_s = 0;
    for (const SectionReport& report : reports_) {
      told = told || report.tally.override_told;
      all_s = std::max(all_s, report.tally.overridden_s);
      if (report.tally.against_s > 0 && report.tally.against_s >= limit && report.tally.overridden_at)
        concerned.push_back(&report);
    }
    if (!concerned.empty())
      return each_or_all(
          code, concerned,
          [](const SectionReport& section) {
            return fmt::format(
                "Overridden by hand for {}, against its commands for {}; first at {}. This is no fault of "
                "the section.",
                seconds_words(section.tally.overridden_s), seconds_words(section.tally.against_s),
                time_of_day(section.tally.overridden_at->time));
          },
          fmt::format("{} are overridden by hand against their commands, which is no fault of theirs",
                      counted_words(concerned.size(), "section", "sections")),
          [&](CheckLine& made, const SectionReport& section) {
            with(with(made, "overridden_s", section.tally.overridden_s), "against_command_s",
                 section.tally.against_s);
            begins(made, section.tally.overridden_at->time);
            add_moment(made, *section.tally.overridden_at, section.subject + ": overridden");
          });
    if (!told) return not_shown(code, "no override states of sections (DDI 367 to 382) were told");
    with(
        line(code, Verdict::pass,
             all_s > 0 ? fmt::format(
                             "Sections were overridden by hand for up to {}, in keeping with their commands.",
                             seconds_words(all_s))
                       : std::string("No section is overridden by hand.")),
        "overridden_s", all_s);
  }

  const SeedingLimits& limits_;
  std::vector<SectionReport> reports_;
  ImplementRecord& out_;
  std::uint64_t commands_ = 0, bound_ = 0, told_ = 0;
};

}  // namespace

void tell_sections(const Device& device, const std::vector<const SectionBoom*>& booms, TimeNs end,
                   std::size_t sections_not_kept, ImplementRecord& out) {
  Teller(device, booms, section_reports(device, booms, end), out).tell(sections_not_kept);
}

}  // namespace tramlog
