#include "implement/totals_lines.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

constexpr const char* kTopic = "totals";
// More of the time without rate, width or speed, and the integral says nothing.
constexpr double kMostUnknown = 0.01;

std::string name_of(const Device& device, std::uint16_t ddi) {
  const DictionaryEntry* entry = device.schema.dictionary().find(ddi);
  return entry == nullptr ? fmt::format("DDI {}", ddi) : fmt::format("{} (DDI {})", entry->name, ddi);
}

std::string amount_words(const Device& device, ProcessVariable variable, double raw) {
  // Within what a counter can hold, else the number itself.
  if (!(std::abs(raw) < 2147483647.0)) return fmt::format("{:.3g}", raw);
  return device.value_words(variable, std::llround(raw));
}

/// One stretch and how it compares.
struct Comparison {
  CountedStretch stretch;
  double expected = 0;  // raw counts
  bool enough = false, complete = false, differs = false;
  double difference_pct = 0;
};

Comparison compare(const Device& device, const JudgedTotal& total, const CountedStretch& stretch) {
  Comparison one;
  one.stretch = stretch;
  const Delivered delivered = stretch.delivered();
  const double growth = stretch.growth();
  if (total.amount_per_count > 0) one.expected = delivered.amount / total.amount_per_count;
  const double share = device.limits["total.smallest_share"];
  const double least = share > 0 ? 1 / share : 1;
  one.enough = std::max(growth, one.expected) >= least;
  one.complete = !stretch.broken && delivered.gap_s <= kMostUnknown * (delivered.active_s + delivered.gap_s);
  if (one.expected > 0) {
    one.difference_pct = 100 * (growth - one.expected) / one.expected;
    // Both reports are cut to whole counts.
    one.differs =
        std::abs(growth - one.expected) - 1 > device.limits["total.differs_pct"] / 100 * one.expected;
  } else {
    one.differs = growth > 1;
  }
  return one;
}

/// The one to tell: what can be judged before what cannot, what differs before what does not, then the
/// longest.
const Comparison* worth_telling(const std::vector<Comparison>& all) {
  const Comparison* best = nullptr;
  const auto rank = [](const Comparison& one) {
    return (one.enough && one.complete ? 2 : 0) + (one.differs ? 1 : 0);
  };
  for (const Comparison& one : all) {
    if (best == nullptr || rank(one) > rank(*best) ||
        (rank(one) == rank(*best) && one.stretch.growth() > best->stretch.growth()))
      best = &one;
  }
  return best;
}

std::string times(const CountedStretch& stretch) {
  return fmt::format("from {} to {}", time_of_day(stretch.first_at.time), time_of_day(stretch.last_at.time));
}

class Teller {
 public:
  Teller(const Device& device, ImplementRecord& out) : device_(device), out_(out) {}

  void differs(const JudgedTotal& total) {
    const char* code = total.is_area ? "total.area" : "total.differs";
    std::vector<Comparison> all;
    for (const CountedStretch& stretch : total.counter.stretches())
      all.push_back(compare(device_, total, stretch));
    const Comparison* one = worth_telling(all);
    record(total, one);
    if (total.amount_per_count <= 0) return;  // a lifetime total, a time, a distance
    CheckLine line = make_line(code, kTopic, device_.words(total.variable.element), Verdict::not_shown, "");
    line.element = total.variable.element;
    const std::string name = name_of(device_, total.variable.ddi);
    if (one == nullptr) {
      line.text =
          fmt::format("Not shown on this bus: {} was told {}; two reports of one task are needed.", name,
                      total.counter.reports() == 1 ? "only once" : "only once in each part of the recording");
    } else if (!total.has_source) {
      line.text = total.is_area ? fmt::format(
                                      "Not shown on this bus: {} grows, but neither a working width (DDI 67, "
                                      "70, section states) nor a speed is told.",
                                      name)
                                : fmt::format(
                                      "Not shown on this bus: {} is told, but no delivered rate (such as DDI "
                                      "2, 7, 12, 37, 42, 47) to compare it with.",
                                      name);
    } else {
      compared(line, total, *one, name);
    }
    out_.lines.push_back(std::move(line));
  }

  void frozen(const JudgedTotal& total) {
    if (total.amount_per_count <= 0 || !total.has_source) return;
    const auto& still = total.counter.frozen();
    if (!still) {
      const auto stretches = total.counter.stretches();
      for (const CountedStretch& stretch : stretches)
        watched_s_ += stretch.broken ? 0 : stretch.delivered().active_s;
      if (total.counter.reports() >= 2) ++moving_;
      return;
    }
    const Delivered missed = still->delivered();
    CheckLine line = make_line(
        "total.frozen", kTopic, device_.words(total.variable.element), Verdict::attention,
        fmt::format("{} stands at {} {}, while {} for {} ({}). It should have grown by {}; limit {}.",
                    name_of(device_, total.variable.ddi),
                    device_.value_words(total.variable, still->last_raw), times(*still),
                    total.is_area ? "the machine worked" : "a rate was delivered",
                    seconds_words(missed.active_s), counted_words(still->reports, "report", "reports"),
                    amount_words(device_, total.variable, missed.amount / total.amount_per_count),
                    seconds_words(device_.limits["total.frozen_s"])));
    line.element = total.variable.element;
    with(line, "stood_s", missed.active_s, 1);
    with(line, "missed_raw", missed.amount / total.amount_per_count, 1);
    add_moment(line, still->first_at, "stands still from here on");
    line.start = still->first_at.time;
    line.end = still->last_at.time;
    out_.lines.push_back(std::move(line));
    ++frozen_;
  }

  void jumped(const JudgedTotal& total) {
    reports_ += total.counter.reports();
    if (total.counter.reports() >= 2) ++counters_;
    if (total.counter.jump_count() == 0) return;
    const auto& jumps = total.counter.jumps();
    const CounterJump& first = jumps.front();
    CheckLine line = make_line(
        "total.jumped-back", kTopic, device_.words(total.variable.element), Verdict::attention,
        fmt::format("{} went back from {} to {} at {}{}, without the task's begin or end, a start of the "
                    "device or a value written by the task controller.",
                    name_of(device_, total.variable.ddi), device_.value_words(total.variable, first.from_raw),
                    device_.value_words(total.variable, first.to_raw), time_of_day(first.at.time),
                    total.counter.jump_count() == 1
                        ? ""
                        : fmt::format(", the first of {} times", total.counter.jump_count())));
    line.element = total.variable.element;
    with(line, "jumps", static_cast<double>(total.counter.jump_count()), 0);
    for (const CounterJump& jump : jumps)
      add_moment(line, jump.at,
                 fmt::format("from {} to {}", device_.value_words(total.variable, jump.from_raw),
                             device_.value_words(total.variable, jump.to_raw)));
    line.start = first.at.time;
    out_.lines.push_back(std::move(line));
    ++jumped_;
  }

  /// What no counter has shown, and what all of them kept.
  void finish(bool any_total, bool any_area) {
    if (!any_total)
      none("total.differs",
           "no element tells a total of what was delivered (DDI 80, 81, 82, 351, 352 and the like)");
    if (!any_area) none("total.area", "no element tells a worked area (DDI 116)");
    if (frozen_ == 0) {
      const double needed = device_.limits["total.frozen_s"];
      if (moving_ > 0 && watched_s_ >= needed)
        pass(
            "total.frozen",
            fmt::format("No counter stood still for {} while it should have grown ({}, {} of delivery seen).",
                        seconds_words(needed), counted_words(moving_, "counter", "counters"),
                        seconds_words(watched_s_)));
      else
        none("total.frozen",
             fmt::format(
                 "no total was told twice over {} of delivery with a delivered rate, a width and a speed",
                 seconds_words(needed)));
    }
    if (jumped_ == 0) {
      if (counters_ > 0)
        pass("total.jumped-back",
             fmt::format("No counter went back ({}, {}).", counted_words(counters_, "counter", "counters"),
                         counted_words(reports_, "report", "reports")));
      else
        none("total.jumped-back", "no total was told twice (DDI 80 to 82, 116 to 120, 351 to 357)");
    }
  }

 private:
  void none(const char* code, const std::string& why) {
    out_.lines.push_back(
        make_line(code, kTopic, "", Verdict::not_shown, fmt::format("Not shown on this bus: {}.", why)));
  }
  void pass(const char* code, std::string text) {
    out_.lines.push_back(make_line(code, kTopic, "", Verdict::pass, std::move(text)));
  }

  void record(const JudgedTotal& total, const Comparison* one) {
    if (!total.counter.last_raw()) return;
    TotalRecord kept;
    kept.element = total.variable.element;
    kept.subject = device_.words(kept.element);
    kept.ddi = total.variable.ddi;
    kept.unit = device_.unit_of(kept.ddi);
    kept.first_raw = kept.last_raw = *total.counter.last_raw();
    kept.first_at = kept.last_at = total.counter.last_at();
    if (one != nullptr) {
      kept.first_raw = one->stretch.first_raw;
      kept.last_raw = one->stretch.last_raw;
      kept.first_at = one->stretch.first_at;
      kept.last_at = one->stretch.last_at;
      kept.reported = device_.in_units(kept.ddi, one->stretch.growth());
      if (total.has_source && total.amount_per_count > 0 && one->complete) {
        kept.integrated = device_.in_units(kept.ddi, one->expected);
        if (one->expected > 0) kept.difference_pct = one->difference_pct;
      }
    }
    out_.totals.push_back(std::move(kept));
  }

  void compared(CheckLine& line, const JudgedTotal& total, const Comparison& one, const std::string& name) {
    const CountedStretch& stretch = one.stretch;
    const double limit = device_.limits["total.differs_pct"];
    const Delivered delivered = stretch.delivered();
    const char* way = total.is_area ? "width x speed" : "the delivered rates on the bus";
    if (!one.complete && stretch.broken) {
      line.text = fmt::format(
          "Not judged: the recorder missed frames, or a unit started again, between the reports of {} {}; "
          "the sum of {} is not complete.",
          name, times(stretch), way);
    } else if (!one.complete) {
      line.text = fmt::format(
          "Not judged: rate, working width or speed was not told for {} between the reports of {} {}; the "
          "sum of {} is not complete.",
          seconds_words(delivered.gap_s), name, times(stretch), way);
    } else if (!one.enough) {
      line.text = fmt::format("Not judged: {} grew by {} only {}; its steps are too coarse for a comparison.",
                              name, amount_words(device_, total.variable, stretch.growth()), times(stretch));
    } else {
      line.verdict = one.differs ? Verdict::attention : Verdict::pass;
      const bool more = stretch.growth() >= one.expected;
      const std::string by =
          one.expected > 0 ? fmt::format("{:.1f} % {}", std::abs(one.difference_pct), more ? "more" : "less")
                           : "although nothing was delivered";
      line.text =
          fmt::format("{} grew by {} {}, {} than {} give{} ({}); limit {:.0f} %.", name,
                      amount_words(device_, total.variable, stretch.growth()), times(stretch), by, way,
                      total.is_area ? "s" : "", amount_words(device_, total.variable, one.expected), limit);
      if (one.differs) {
        line.start = stretch.first_at.time;
        line.end = stretch.last_at.time;
        add_moment(line, stretch.first_at,
                   fmt::format("first report {}", device_.value_words(total.variable, stretch.first_raw)));
        add_moment(line, stretch.last_at,
                   fmt::format("last report {}", device_.value_words(total.variable, stretch.last_raw)));
      }
    }
    with(line, "reported_raw", stretch.growth(), 0);
    with(line, "integrated_raw", one.expected, 1);
    if (one.complete && one.expected > 0) with(line, "difference_pct", one.difference_pct, 2);
    with(line, "unknown_s", delivered.gap_s, 2);
  }

  const Device& device_;
  ImplementRecord& out_;
  std::uint64_t moving_ = 0, frozen_ = 0, jumped_ = 0, counters_ = 0, reports_ = 0;
  double watched_s_ = 0;
};

}  // namespace

void tell_totals(const Device& device, const std::map<ProcessVariable, JudgedTotal>& totals,
                 ImplementRecord& out) {
  Teller teller(device, out);
  bool any_total = false, any_area = false;
  for (const auto& [variable, total] : totals) {
    teller.differs(total);
    teller.frozen(total);
    teller.jumped(total);
    any_total = any_total || (total.amount_per_count > 0 && !total.is_area);
    any_area = any_area || total.is_area;
  }
  teller.finish(any_total, any_area);
}

}  // namespace tramlog
