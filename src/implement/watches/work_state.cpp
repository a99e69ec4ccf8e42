// Who turned the work state on and off, and whether all agree about it: setpoint work state (DDI 289) by the
// task controller, work states (DDI 141) told by device element, booms and other elements above the sections
// (fact sheet, process data, 5.2, 5.3).
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <vector>

#include "implement/layout.hpp"
#include "implement/line_tools.hpp"
#include "implement/section_boom.hpp"
#include "implement/section_states.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {
namespace {

constexpr const char* kTopic = "work state";
constexpr std::uint16_t kWorkState = 141, kSetWorkState = 289;
constexpr std::size_t kMaxElements = 64, kMaxSwitches = 200, kMaxDisagreements = 12;
/// A told state that follows a command within this is its effect.
constexpr SpanNs kEffect = 5 * kSecond;

struct Disagreement {
  Mark at;
  double seconds = 0;
  std::string text;
};

/// Runs while two sides differ.
class Differing {
 public:
  /// Returns the disagreement that ends here, if it lasted.
  std::optional<double> now(bool differs, Mark at, double limit_s) {
    std::optional<double> ended;
    if (!differs && since_) {
      const double seconds = to_seconds(span_between(since_->time, at.time));
      if (seconds > limit_s) ended = seconds;
      since_.reset();
    }
    if (differs && !since_) since_ = at;
    return ended;
  }
  const std::optional<Mark>& since() const { return since_; }
  void forget() { since_.reset(); }

 private:
  std::optional<Mark> since_;
};

struct Element {
  std::optional<bool> told, commanded;
  Mark told_at, commanded_at;
  bool agreed = false;  // since the latest command
  std::uint64_t told_changes = 0, by_command = 0, commands = 0;
  bool compared_with_command = false;
  double on_s = 0;
  std::uint64_t lifted = 0, lifted_wanted = 0;  // switched off while no section, or some, were commanded on
  Differing refused, deviates, contrary, above_off;
  Mark command_open;  // the command that is not followed
  std::uint16_t above = 0;
};

struct Switch {
  Mark at;
  std::uint16_t element = 0;
  bool on = false, by_task_controller = false;
};

class WorkState : public DeviceWatch {
 public:
  explicit WorkState(const Device& device) : device_(device) {}

  void on_value(const ProcessValue& value) override {
    const auto [number, ddi] = value.variable;
    if ((ddi != kWorkState && ddi != kSetWorkState) || value.raw < 0 || value.raw > 1) return;
    if (value.by_device != (ddi == kWorkState) || is_section(device_, number)) return;
    if (elements_.count(number) == 0 && elements_.size() >= kMaxElements) return;
    Element& element = elements_[number];
    const bool on = value.raw == 1;
    if (value.by_device)
      take_told(number, element, on, value.at);
    else
      take_command(number, element, on, value.at);
    compare(value.at);
  }
  void on_time(TimeNs now) override { compare({now, 0}); }
  void on_task(bool, Mark at) override {
    // Commands end with their task.
    compare(at);
    for (auto& [number, element] : elements_) {
      element.commanded.reset();
      element.refused.forget();
      element.deviates.forget();
      element.contrary.forget();
    }
  }
  void on_blind() override { forget(); }
  void on_break(Mark) override { forget(); }

  void conclude(TimeNs end, ImplementRecord& out) override {
    tell_switches(end, out);
    tell_disagreements(end, out);
  }

 private:
  void take_told(std::uint16_t number, Element& element, bool on, Mark at) {
    if (element.told && *element.told == on) return;
    if (element.told) {
      if (*element.told) element.on_s += to_seconds(span_between(element.told_at.time, at.time));
      ++element.told_changes;
      if (!on) ++(wanted() ? element.lifted_wanted : element.lifted);
      const bool effect =
          element.commanded == on && span_between(element.commanded_at.time, at.time) <= kEffect;
      if (effect) ++element.by_command;
      note({at, number, on, effect});
    }
    element.told = on;
    element.told_at = at;
  }
  void take_command(std::uint16_t number, Element& element, bool on, Mark at) {
    if (element.commanded && *element.commanded == on) return;
    element.commanded = on;
    element.commanded_at = at;
    element.agreed = false;
    element.refused.forget();
    element.deviates.forget();
    element.contrary.forget();
    ++element.commands;
    ++commands_;
    // A device that never tells: the command is all there is.
    if (!element.told) note({at, number, on, true});
  }
  void note(const Switch& one) {
    if (switches_.size() < kMaxSwitches) switches_.push_back(one);
    ++(one.on ? switched_on_ : switched_off_);
    if (one.by_task_controller) ++by_task_controller_;
  }

  void compare(Mark at) {
    const double limit = device_.limits["work_state.disagree_s"];
    for (auto& [number, element] : elements_) {
      if (element.commanded && element.told) {
        element.compared_with_command = true;
        if (*element.told == *element.commanded) element.agreed = true;
        const bool differs = *element.told != *element.commanded;
        if (const auto s = element.refused.now(differs && !element.agreed, at, limit))
          refused(number, element, *s);
        if (const auto s = element.deviates.now(differs && element.agreed, at, limit))
          deviated(deviations_, number, element, *s, at);
        const bool contrary = differs && element.agreed && *element.commanded && wanted() && moving();
        if (const auto s = element.contrary.now(contrary, at, limit))
          deviated(contraries_, number, element, *s, at);
      }
      // On, while something above it says off.
      std::optional<std::uint16_t> off_above;
      if (element.told == true) {
        const auto above = elements_above(device_, number);
        for (std::size_t i = 1; i < above.size() && !off_above; ++i) {
          if (elements_.count(above[i]) == 0) continue;
          const auto state = kept_work_state(device_, above[i]);
          if (state) compared_with_above_ = true;
          if (state == false) off_above = above[i];
        }
      }
      const auto since = element.above_off.since();
      if (const auto s = element.above_off.now(off_above.has_value(), at, limit))
        below_off(number, element, *s, since->time);
      if (off_above) element.above = *off_above;
    }
  }
  static const char* word(bool on) { return on ? "on" : "off"; }
  void add(Disagreement one) {
    ++disagreements_;
    longest_s_ = std::max(longest_s_, one.seconds);
    if (found_.size() < kMaxDisagreements) found_.push_back(std::move(one));
  }
  void refused(std::uint16_t number, const Element& element, double seconds) {
    add({element.commanded_at, seconds,
         fmt::format("{}: told {} by the task controller, says {} for {}", device_.words(number),
                     word(*element.commanded), word(!*element.commanded), seconds_words(seconds))});
  }
  // The task controller wants some section on.
  bool wanted() const {
    for (const auto& [variable, entry] : device_.values.all()) {
      if (!entry.set) continue;
      if (variable.ddi == kSetWorkState && entry.set->raw == 1 && is_section(device_, variable.element))
        return true;
      const auto block = condensed_block(variable.ddi);
      if (!block || block->kind != CondensedKind::setpoint) continue;
      for (unsigned i = 0; i < 16; ++i)
        if ((entry.set->raw >> (2 * i) & 3) == 1) return true;
    }
    return false;
  }
  bool moving() const {
    const auto speed = device_.machine.speed_mm_s(device_.now);
    return speed && *speed >= device_.limits["speed.working_mm_s"];
  }
  void deviated(std::vector<std::pair<std::uint16_t, Disagreement>>& kept, std::uint16_t number,
                const Element& element, double seconds, Mark at) {
    if (kept.size() >= kMaxDisagreements) return;
    const Mark from{later_by(at.time, -static_cast<SpanNs>(seconds * 1e9)), 0};
    kept.push_back(
        {number,
         {from, seconds,
          fmt::format("{}: says {} for {}, while the task controller's command is {}", device_.words(number),
                      word(!*element.commanded), seconds_words(seconds), word(*element.commanded))}});
  }
  void below_off(std::uint16_t number, const Element& element, double seconds, TimeNs from) {
    add({{from, element.told_at.time == from ? element.told_at.frame : 0},
         seconds,
         fmt::format("{}: on for {}, while {} is off", device_.words(number), seconds_words(seconds),
                     device_.words(element.above))});
  }
  void forget() {
    for (auto& [number, element] : elements_) {
      element.told.reset();
      element.commanded.reset();
      element.refused.forget();
      element.deviates.forget();
      element.contrary.forget();
      element.above_off.forget();
    }
  }

  void tell_switches(TimeNs end, ImplementRecord& out) const {
    const char* code = "work-state.switches";
    bool told = false;
    double on_s = 0;
    std::string who;
    for (const auto& [number, element] : elements_) {
      double own_s = element.on_s;
      if (element.told == true) own_s += to_seconds(span_between(element.told_at.time, end));
      on_s = std::max(on_s, own_s);
      if (!element.told && element.told_changes == 0) continue;
      if (who.size() < 200) who += (told ? ", " : "") + device_.words(number);
      told = true;
    }
    if (!told && commands_ == 0) {
      out.lines.push_back(
          make_line(code, kTopic, "", Verdict::not_shown,
                    "Not shown on this bus: no element above the sections told a work state (DDI 141), and "
                    "none was set (DDI 289)."));
      return;
    }
    std::string text = told
                           ? fmt::format("Work state told by {}: switched on {} and off {}, on for {}", who,
                                         counted_words(switched_on_, "time", "times"),
                                         counted_words(switched_off_, "time", "times"), seconds_words(on_s))
                           : fmt::format("Work state set by the task controller {}, never told by the device",
                                         counted_words(commands_, "time", "times"));
    if (told)
      text += commands_ == 0
                  ? "; the task controller did not set it (DDI 289)"
                  : fmt::format("; {} after a command of the task controller (DDI 289)", by_task_controller_);
    CheckLine line = make_line(code, kTopic, "", Verdict::pass, text + ".");
    with(with(with(line, "switched_on", static_cast<double>(switched_on_), 0), "switched_off",
              static_cast<double>(switched_off_), 0),
         "by_task_controller", static_cast<double>(by_task_controller_), 0);
    with(line, "on_s", on_s);
    for (const Switch& one : switches_)
      add_moment(line, one.at,
                 fmt::format("{} {} {}", device_.words(one.element), word(one.on),
                             one.by_task_controller ? "by the task controller" : "by the machine"));
    out.lines.push_back(std::move(line));
  }

  void tell_disagreements(TimeNs end, ImplementRecord& out) const {
    // What is still open, on a copy.
    WorkState copy = *this;
    copy.close({end, 0});
    const char* code = "work-state.disagree";
    const double limit = device_.limits["work_state.disagree_s"];
    if (copy.disagreements_ == 0) {
      bool compared = compared_with_above_;
      for (const auto& [number, element] : elements_) compared = compared || element.compared_with_command;
      if (!compared) {
        out.lines.push_back(
            make_line(code, kTopic, "", Verdict::not_shown,
                      "Not shown on this bus: it takes a setpoint work state (DDI 289) or a second element "
                      "with a work state (DDI 141) to compare with."));
        return;
      }
      CheckLine line =
          make_line(code, kTopic, "", Verdict::pass,
                    fmt::format("Work states of elements and commands never differ for more than {}.",
                                seconds_words(limit)));
      with(line, "limit_s", limit);
      out.lines.push_back(std::move(line));
      return;
    }
    std::stable_sort(copy.found_.begin(), copy.found_.end(),
                     [](const Disagreement& a, const Disagreement& b) { return a.at.time < b.at.time; });
    const Disagreement& first = copy.found_.front();
    CheckLine line = make_line(
        code, kTopic, "", Verdict::attention,
        fmt::format("Work states differ {}, for up to {}; limit {}. First at {}: {}.",
                    counted_words(copy.disagreements_, "time", "times"), seconds_words(copy.longest_s_),
                    seconds_words(limit), time_of_day(first.at.time), first.text));
    line.start = first.at.time;
    with(with(with(line, "times", static_cast<double>(copy.disagreements_), 0), "longest_s", copy.longest_s_),
         "limit_s", limit);
    for (const Disagreement& one : copy.found_) add_moment(line, one.at, one.text);
    out.lines.push_back(std::move(line));
  }
  void close(Mark end) {
    const double limit = device_.limits["work_state.disagree_s"];
    for (auto& [number, element] : elements_) {
      const auto above_since = element.above_off.since();
      if (element.commanded) {
        if (const auto s = element.refused.now(false, end, limit)) refused(number, element, *s);
        if (const auto s = element.deviates.now(false, end, limit))
          deviated(deviations_, number, element, *s, end);
        if (const auto s = element.contrary.now(false, end, limit))
          deviated(contraries_, number, element, *s, end);
      }
      if (const auto s = element.above_off.now(false, end, limit))
        below_off(number, element, *s, above_since->time);
    }
    // Where the task controller drives the work state, an implement that goes its own way is wrong; where the
    // operator does, it is the operator.
    const auto driven = [this](std::uint16_t number) {
      const Element& element = elements_[number];
      return element.by_command >= 2 && 3 * element.by_command >= 2 * element.told_changes;
    };
    for (auto& [number, one] : deviations_)
      if (driven(number)) add(std::move(one));
    // He usually lifts with all sections off; off on the way with sections wanted is the exception that needs
    // a look.
    for (auto& [number, one] : contraries_) {
      const Element& element = elements_[number];
      if (!driven(number) && element.lifted >= 1 && element.lifted_wanted <= element.lifted)
        add(std::move(one));
    }
  }

  const Device& device_;
  std::map<std::uint16_t, Element> elements_;
  std::vector<Switch> switches_;
  std::uint64_t switched_on_ = 0, switched_off_ = 0, by_task_controller_ = 0, commands_ = 0,
                disagreements_ = 0;
  std::vector<Disagreement> found_;
  std::vector<std::pair<std::uint16_t, Disagreement>> deviations_, contraries_;
  double longest_s_ = 0;
  bool compared_with_above_ = false;
};

std::unique_ptr<DeviceWatch> make(const Device& device) {
  return std::make_unique<WorkState>(device);
}

}  // namespace

extern const DeviceWatchKind work_state;
const DeviceWatchKind work_state{"work state", make};

}  // namespace tramlog::watches
