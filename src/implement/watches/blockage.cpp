// Signs of a blockage. The dictionary has no value for it (fact sheet, process data, 5.6): what can be seen
// indirectly is told: seed quality, downforce, sections in error.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <set>

#include "implement/line_tools.hpp"
#include "implement/section_states.hpp"
#include "implement/spell.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {

extern const DeviceWatchKind blockage;

namespace {

constexpr std::uint16_t kWorkState = 141, kActualSkips = 417, kAverageSkips = 418;
constexpr std::size_t kMaxTracks = 1024;  // rows with skips; variables with section states
constexpr std::uint64_t kEnough = 10;     // values that make a statement
constexpr SpanNs kLookEvery = 500 * kMillisecond;

/// One sign: actual value and average, and how to show it.
struct Sign {
  std::uint16_t actual, average;
  const char* words;
  const char* key;  // of the figures
  double divisor;   // raw to what is shown
  const char* unit;
  bool least_is_worst;
};
constexpr double kPpmOfPercent = 10'000;
constexpr Sign kSigns[] = {
    {kActualSkips, kAverageSkips, "skips", "skips_pct", kPpmOfPercent, " %", false},
    {415, 416, "singulation", "singulation_pct", kPpmOfPercent, " %", true},
    {419, 420, "multiples", "multiples_pct", kPpmOfPercent, " %", false},
    {421, 422, "spacing deviation", "spacing_deviation_mm", 1, " mm", false},
    {423, 424, "variation of the spacing", "spacing_variation_pct", kPpmOfPercent, " %", false},
    {427, 0, "downforce", "downforce_n", 1, " N", true},
    {366, 0, "downforce pressure", "downforce_pa", 1, " Pa", true},
};
constexpr std::size_t kSignCount = std::size(kSigns);

class Blockage final : public DeviceWatch {
 public:
  explicit Blockage(const Device& device)
      : device_(device),
        skips_ppm_(device.limits["blockage.skips_pct"] * kPpmOfPercent),
        skips_for_s_(device.limits["blockage.skips_for_s"]),
        error_s_(device.limits["section.error_s"]) {}

  void on_value(const ProcessValue& value) override {
    if (!value.by_device) return;
    take_state(value);
    const std::uint16_t ddi = value.variable.ddi;
    for (std::size_t i = 0; i < kSignCount; ++i)
      if (ddi == kSigns[i].actual || ddi == kSigns[i].average) return take_sign(i, value);
  }

  void on_time(TimeNs now) override {
    if (looked_ && span_between(*looked_, now) >= 0 && span_between(*looked_, now) < kLookEvery) return;
    looked_ = now;
    judge_errors({now, 0});
  }
  void on_blind() override {
    error_.forget();
    for (auto& [variable, skips] : skips_) skips.forget();
    in_error_.clear();
  }
  void on_break(Mark) override { on_blind(); }

  void conclude(TimeNs end, ImplementRecord& out) override {
    CheckLine line = make_line("blockage.signs", "blockage", "", Verdict::not_shown, "");
    std::string text = error_sentence(end, line) + skip_sentence(end, line);
    const bool attention = !text.empty();
    const Stat& skips = stat_of(0);
    std::string signs;
    for (std::size_t i = 0; i < kSignCount; ++i) {
      const Stat& stat = stat_of(i);
      if (stat.count == 0) continue;
      signs += (signs.empty() ? "" : "; ") + sign_words(kSigns[i], stat);
      with(line, (std::string("mean_") + kSigns[i].key).c_str(),
           stat.sum / static_cast<double>(stat.count) / kSigns[i].divisor, 2);
      with(line, (std::string("worst_") + kSigns[i].key).c_str(), stat.worst / kSigns[i].divisor, 2);
    }
    if (attention) {
      line.verdict = Verdict::attention;
      text += "The data dictionary has no value for a blockage; these are signs of one.";
    } else if (skips.count >= kEnough) {
      line.verdict = Verdict::pass;
      text = fmt::format(
          "No sign of a blockage while working: no element above {:.0f} % skips for more than {}.",
          skips_ppm_ / kPpmOfPercent, seconds_words(skips_for_s_));
    } else {
      text = fmt::format(
          "Not shown on this bus: the data dictionary has no value for a blockage, and {} seed quality "
          "(skips, DDI 417 or 418) while working. "
          "A flow that stops is looked at under meters, sections in error under sections.",
          skips.count == 0
              ? "nothing tells the"
              : fmt::format("there are only {} of the", counted_words(skips.count, "value", "values")));
    }
    if (!signs.empty()) text += fmt::format(" While working: {}.", signs);
    if (not_kept_ > 0)
      text += fmt::format(" {} of further elements are not looked at.",
                          counted_words(not_kept_, "value", "values"));
    std::stable_sort(line.moments.begin(), line.moments.end(),
                     [](const Moment& a, const Moment& b) { return a.at.time < b.at.time; });
    line.text = std::move(text);
    out.lines.push_back(std::move(line));
  }

 private:
  struct Stat {
    std::uint64_t count = 0;
    double sum = 0, worst = 0;
    std::uint16_t worst_element = 0;
    TimeNs worst_at = 0;
    std::set<std::uint16_t> elements;  // their numbers have 12 bits
  };

  /// Of the actual values; of the averages where only these are told.
  const Stat& stat_of(std::size_t sign) const {
    return stats_[sign][0].count > 0 ? stats_[sign][0] : stats_[sign][1];
  }

  void take_state(const ProcessValue& value) {
    const auto block = condensed_block(value.variable.ddi);
    bool error = false;
    if (block && block->kind == CondensedKind::actual) {
      for (unsigned i = 0; i < 16; ++i)
        error = error || (value.raw >> (2 * i) & 3) == static_cast<int>(SectionState::error);
    } else if (value.variable.ddi == kWorkState) {
      error = value.raw == static_cast<int>(SectionState::error);
    } else {
      return;
    }
    if (!error)
      in_error_.erase(value.variable);
    else if (in_error_.size() < kMaxTracks)
      in_error_[value.variable] = value.raw;
    judge_errors(value.at);
  }

  void judge_errors(Mark at) {
    if (in_error_.empty())
      error_.good(at.time);
    else if (!device_.working().value_or(true))
      error_.pass_over();
    else
      error_.bad(at.time, at, error_s_, 0, [&] { return error_words(); });
  }

  std::string error_words() const {
    const auto& [variable, raw] = *in_error_.begin();
    const auto block = condensed_block(variable.ddi);
    if (!block) return device_.words(variable.element) + " tells an error as its work state";
    std::string sections;
    for (unsigned i = 0; i < 16; ++i)
      if ((raw >> (2 * i) & 3) == static_cast<int>(SectionState::error))
        sections += fmt::format("{}{}", sections.empty() ? "" : ", ", block->first_section + i);
    return fmt::format("{}: section {} in error", device_.words(variable.element), sections);
  }

  void take_sign(std::size_t sign, const ProcessValue& value) {
    // Out of work a row without seed has nothing but skips.
    const bool works = device_.working().value_or(false);
    if (sign == 0) judge_skips(value, works);
    if (!works) return;
    Stat& stat = stats_[sign][value.variable.ddi == kSigns[sign].actual ? 0 : 1];
    const auto raw = static_cast<double>(value.raw);
    if (stat.count == 0 || (kSigns[sign].least_is_worst ? raw < stat.worst : raw > stat.worst)) {
      stat.worst = raw;
      stat.worst_element = value.variable.element;
      stat.worst_at = value.at.time;
    }
    ++stat.count;
    stat.sum += raw;
    stat.elements.insert(value.variable.element);
  }

  void judge_skips(const ProcessValue& value, bool works) {
    const auto found = skips_.find(value.variable);
    if (found == skips_.end() && skips_.size() >= kMaxTracks) {
      ++not_kept_;
      return;
    }
    Spell& spell = found == skips_.end() ? skips_[value.variable] : found->second;
    const auto raw = static_cast<double>(value.raw);
    if (!works || raw <= skips_ppm_) {
      spell.good(value.at.time);
      return;
    }
    spell.bad(value.at.time, value.at, skips_for_s_, raw, [&] {
      return fmt::format("{}: {:.1f} % skips", device_.words(value.variable.element), raw / kPpmOfPercent);
    });
  }

  std::string error_sentence(TimeNs end, CheckLine& line) const {
    if (error_.count() == 0) return {};
    for (const Moment& moment : error_.moments()) add_moment(line, moment.at, moment.text);
    line.start = error_.first()->time;
    with(line, "error_longest_s", error_.longest_s(end));
    return fmt::format("An error state while working {}, first at {} ({}), for {} at the longest. ",
                       counted_words(error_.count(), "time", "times"), time_of_day(error_.first()->time),
                       error_.moments().front().text, seconds_words(error_.longest_s(end)));
  }

  std::string skip_sentence(TimeNs end, CheckLine& line) const {
    std::set<std::uint16_t> elements;
    const Spell* worst = nullptr;
    const Spell* first = nullptr;
    double longest = 0;
    for (const auto& [variable, spell] : skips_) {
      if (spell.count() == 0) continue;
      elements.insert(variable.element);
      longest = std::max(longest, spell.longest_s(end));
      if (worst == nullptr || *worst->worst() < *spell.worst()) worst = &spell;
      if (first == nullptr || spell.first()->time < first->first()->time) first = &spell;
      add_moment(line, spell.moments().front().at, spell.moments().front().text);
    }
    if (worst == nullptr) return {};
    line.start = line.start ? std::min(*line.start, first->first()->time) : first->first()->time;
    return fmt::format(
        "{} with more than {:.0f} % skips for longer than {} while working, first at {} ({}), up to {:.1f} "
        "%, for {} at the longest. ",
        counted_words(elements.size(), "element", "elements"), skips_ppm_ / kPpmOfPercent,
        seconds_words(skips_for_s_), time_of_day(first->first()->time), first->moments().front().text,
        *worst->worst() / kPpmOfPercent, seconds_words(longest));
  }

  std::string sign_words(const Sign& sign, const Stat& stat) const {
    return fmt::format("{} {:.1f}{} on average, {:.1f}{} at {} ({}, {})", sign.words,
                       stat.sum / static_cast<double>(stat.count) / sign.divisor, sign.unit,
                       stat.worst / sign.divisor, sign.unit, sign.least_is_worst ? "least" : "worst",
                       stat.elements.size() == 1 ? device_.words(stat.worst_element)
                                                 : fmt::format("of {} elements: {}", stat.elements.size(),
                                                               device_.words(stat.worst_element)),
                       time_of_day(stat.worst_at));
  }

  const Device& device_;
  double skips_ppm_, skips_for_s_, error_s_;
  std::array<std::array<Stat, 2>, kSignCount> stats_;
  std::map<ProcessVariable, Spell> skips_;
  std::map<ProcessVariable, std::int64_t> in_error_;
  Spell error_;
  std::uint64_t not_kept_ = 0;
  std::optional<TimeNs> looked_;
};

}  // namespace

const DeviceWatchKind blockage{"blockage", [](const Device& device) -> std::unique_ptr<DeviceWatch> {
                                 return std::make_unique<Blockage>(device);
                               }};

}  // namespace tramlog::watches
