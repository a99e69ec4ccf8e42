// Whether the description's places and widths fit together, and whether the width that the boom tells fits
// the sections that are on (fact sheet, process data, 5.3, 5.4, 5.9: R11).
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>

#include "implement/families.hpp"
#include "implement/layout.hpp"
#include "implement/line_tools.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {
namespace {

constexpr const char* kTopic = "geometry";
constexpr std::uint16_t kActualWidth = 67, kDefaultWidth = 68, kMaximumWidth = 70, kOffsetX = 134,
                        kOffsetY = 135;
constexpr std::uint16_t kWorkState = 141, kFirstActual = 161;
/// States must stand for so long before the width that is told must fit them.
constexpr SpanNs kSteady = 3 * kSecond;
/// A width may be told a little before the states that it belongs to.
constexpr SpanNs kEarly = kSecond;
/// .. and at least a fifth of all; many a wrong order still makes the right sum.
constexpr std::uint64_t kEnoughMisfits = 2;
constexpr std::size_t kNamed = 8;

/// Widths told by one boom, against the sections that were on.
struct ToldWidth {
  std::uint64_t fits = 0, misfits = 0;
  std::int64_t told = 0, expected = 0;  // of the first misfit
  Mark at;
};

std::string metres(double mm) {
  return fmt::format("{:.3f} m", mm / 1000);
}

class Geometry : public DeviceWatch {
 public:
  explicit Geometry(const Device& device) : device_(device) {}

  void on_value(const ProcessValue& value) override {
    if (!value.by_device) return;
    const std::uint16_t ddi = value.variable.ddi;
    const auto block = condensed_block(ddi);
    const bool state = ddi == kWorkState || (block && block->kind == CondensedKind::actual);
    if (!state || device_.values.state_changes() == changes_) return;
    // They have changed just now: what stood until here was looked at in on_time.
    changes_ = device_.values.state_changes();
    steady_since_ = value.at.time;
    looked_ = false;
  }
  void on_time(TimeNs now) override {
    if (looked_ || !steady_since_ || span_between(*steady_since_, now) < kSteady) return;
    looked_ = true;
    look(now);
  }
  void on_blind() override { steady_since_.reset(); }
  void on_break(Mark) override { steady_since_.reset(); }

  void conclude(TimeNs, ImplementRecord& out) override {
    const Layout layout = layout_of(device_);
    width(layout, out);
    order(layout, out);
    overlap(layout, out);
    missing(layout, out);
  }

 private:
  // Once for each steady stretch.
  void look(TimeNs now) {
    const Layout layout = layout_of(device_);
    for (const BoomPlace& boom : layout.booms) {
      const ValueEntry* entry = device_.values.find({boom.element, kActualWidth});
      if (entry == nullptr || !entry->told || boom.sections.empty()) continue;
      const auto& on_change = entry->measurements[4];
      const bool fresh =
          (on_change && !on_change->refused) || entry->told->at.time >= later_by(*steady_since_, -kEarly);
      if (!fresh) continue;
      std::int64_t sum = 0;
      bool known = true;
      for (const SectionPlace& section : boom.sections) {
        const auto on = is_on(boom, section);
        const auto width = section_width(device_, *section.element);
        known = known && on && width;
        if (known && *on) sum += width->mm;
      }
      if (!known || sum == 0) continue;  // with all off some tell 0, some their whole width
      ToldWidth& told = told_[boom.element];
      const double tolerance = tolerance_mm(static_cast<double>(sum));
      if (std::abs(static_cast<double>(entry->told->raw - sum)) <= tolerance) {
        ++told.fits;
      } else if (++told.misfits == 1) {
        told.told = entry->told->raw;
        told.expected = sum;
        told.at = {now, 0};
      }
    }
  }
  std::optional<bool> is_on(const BoomPlace& boom, const SectionPlace& section) const {
    std::optional<std::int64_t> state;
    if (boom.condensed) {
      const unsigned place = section.number - 1;
      const auto raw =
          device_.values.told({boom.element, static_cast<std::uint16_t>(kFirstActual + place / 16)});
      if (raw) state = *raw >> (2 * (place % 16)) & 3;
    }
    if (!state) state = device_.values.told({*section.element, kWorkState});
    if (!state) return std::nullopt;
    return *state == 1;
  }
  double tolerance_mm(double width_mm) const {
    return std::max(device_.limits["geometry.overlap_mm"],
                    width_mm * device_.limits["geometry.width_pct"] / 100);
  }

  CheckLine& line(ImplementRecord& out, const char* code, Verdict verdict, std::string text) const {
    out.lines.push_back(make_line(code, kTopic, "", verdict, std::move(text)));
    return out.lines.back();
  }
  void not_shown(ImplementRecord& out, const char* code, const char* why) const {
    line(out, code, Verdict::not_shown, fmt::format("Not shown on this bus: {}.", why));
  }
  // Why nothing can be said; empty if something can.
  static const char* nothing(const Layout& layout) {
    if (!layout.described) return "the device's description is not known";
    for (const BoomPlace& boom : layout.booms)
      if (!boom.sections.empty()) return "";
    return "the description holds no sections";
  }
  std::string section_words(const Layout& layout, const BoomPlace& boom, unsigned number) const {
    std::size_t with_sections = 0;
    for (const BoomPlace& one : layout.booms) with_sections += !one.sections.empty();
    return with_sections > 1 ? fmt::format("section {} of {}", number, device_.words(boom.element))
                             : fmt::format("section {}", number);
  }
  // Of the boom; of the device, if it has no other boom.
  std::optional<DeclaredWidth> whole_width(const Layout& layout, const BoomPlace& boom) const {
    if (boom.width) return boom.width;
    std::size_t with_sections = 0;
    for (const BoomPlace& one : layout.booms) with_sections += !one.sections.empty();
    if (with_sections != 1) return std::nullopt;
    const auto above = elements_above(device_, boom.element);
    for (std::size_t i = 1; i < above.size(); ++i)
      if (const auto width = boom_width(device_, above[i])) return width;
    return std::nullopt;
  }

  void width(const Layout& layout, ImplementRecord& out) const {
    const char* code = "geometry.width";
    if (const char* why = nothing(layout); *why != '\0') return not_shown(out, code, why);
    const double limit = device_.limits["geometry.width_pct"];
    bool compared = false;
    std::string good, bad;
    double worst_pct = 0, worst_sum = 0, worst_width = 0;
    std::optional<Mark> moment;
    for (const BoomPlace& boom : layout.booms) {
      const auto whole = whole_width(layout, boom);
      double sum = 0;
      bool all = !boom.sections.empty();
      for (const SectionPlace& section : boom.sections) {
        all = all && section.width.has_value();
        if (section.width) sum += static_cast<double>(section.width->mm);
      }
      const std::string words = device_.words(boom.element);
      if (all && whole) {
        compared = true;
        const double mm = static_cast<double>(whole->mm), pct = 100 * (sum - mm) / mm;
        if (std::abs(pct) >= std::abs(worst_pct)) worst_pct = pct, worst_sum = sum, worst_width = mm;
        std::string& text = std::abs(pct) > limit ? bad : good;
        text += fmt::format("{}{}: {} make {}, the whole is {} wide (DDI {}), {:+.1f} %",
                            text.empty() ? "" : "; ", words,
                            counted_words(boom.sections.size(), "section", "sections"), metres(sum),
                            metres(mm), whole->ddi, pct);
      }
      const auto told = told_.find(boom.element);
      if (told == told_.end()) continue;
      const ValueEntry* entry = device_.values.find({boom.element, kActualWidth});
      // Always the same: it does not tell the sections that are on.
      const bool follows = entry != nullptr && entry->least != entry->greatest;
      if (follows && told->second.misfits >= kEnoughMisfits &&
          4 * told->second.misfits >= told->second.fits) {
        compared = true;
        bad += fmt::format(
            "{}{} tells a working width of {} while sections of {} are on ({} of {} times that the states "
            "stood still)",
            bad.empty() ? "" : "; ", words, metres(static_cast<double>(told->second.told)),
            metres(static_cast<double>(told->second.expected)), told->second.misfits,
            told->second.misfits + told->second.fits);
        moment = told->second.at;
      }
    }
    if (!compared)
      return not_shown(out, code,
                       "the widths (DDI 67, 70 or 68) of all sections and of their boom are not known");
    CheckLine& made = line(
        out, code, bad.empty() ? Verdict::pass : Verdict::attention,
        bad.empty()
            ? fmt::format("Widths agree: {}; limit {:.1f} %.", good, limit)
            : fmt::format("Widths do not agree: {}; limit {:.1f} %. Areas and rates are wrong by as much.",
                          bad, limit));
    if (worst_width > 0)
      with(with(with(made, "sum_mm", worst_sum, 0), "width_mm", worst_width, 0), "difference_pct", worst_pct,
           2);
    with(made, "limit_pct", limit, 1);
    if (moment) {
      made.start = moment->time;
      add_moment(made, *moment, "the first width that does not fit");
    }
  }

  void order(const Layout& layout, ImplementRecord& out) const {
    const char* code = "geometry.order";
    if (const char* why = nothing(layout); *why != '\0') return not_shown(out, code, why);
    bool compared = false;
    std::string bad;
    std::size_t count = 0, wrong = 0;
    for (const BoomPlace& boom : layout.booms) {
      if (!boom.by_offsets || boom.sections.size() < 2) continue;
      compared = true;
      count += boom.sections.size();
      for (std::size_t i = 1; i < boom.sections.size(); ++i) {
        const SectionPlace &left = boom.sections[i - 1], &right = boom.sections[i];
        if (*left.element <= *right.element || *left.y_mm == *right.y_mm) continue;
        if (++wrong > kNamed) continue;
        bad += fmt::format("{}{} at {} lies left of {} at {}", bad.empty() ? "" : ", ",
                           device_.words(*left.element), metres(static_cast<double>(*left.y_mm)),
                           device_.words(*right.element), metres(static_cast<double>(*right.y_mm)));
      }
    }
    if (!compared)
      return not_shown(out, code, "fewer than two sections of a boom have a sideways offset (DDI 135)");
    if (bad.empty()) {
      with(line(out, code, Verdict::pass,
                fmt::format(
                    "The offsets (DDI 135) of {} ascend from left to right with their element numbers.",
                    counted_words(count, "section", "sections"))),
           "sections", static_cast<double>(count), 0);
      return;
    }
    with(line(out, code, Verdict::attention,
              fmt::format("Sections are not numbered from left to right: {}. A task controller that goes by "
                          "the numbers switches "
                          "the wrong sections.",
                          bad)),
         "wrong", static_cast<double>(wrong), 0);
  }

  void overlap(const Layout& layout, ImplementRecord& out) const {
    const char* code = "geometry.overlap";
    if (const char* why = nothing(layout); *why != '\0') return not_shown(out, code, why);
    const double limit = device_.limits["geometry.overlap_mm"];
    std::string bad;
    std::size_t pairs = 0, wrong = 0;
    double worst = 0;
    for (const BoomPlace& boom : layout.booms)
      for (std::size_t i = 1; boom.by_offsets && i < boom.sections.size(); ++i) {
        const SectionPlace &left = boom.sections[i - 1], &right = boom.sections[i];
        if (!left.width || !right.width) continue;
        ++pairs;
        const double gap = static_cast<double>(*right.y_mm) - static_cast<double>(*left.y_mm) -
                           (static_cast<double>(left.width->mm) + static_cast<double>(right.width->mm)) / 2;
        if (std::abs(gap) > std::abs(worst)) worst = gap;
        if (std::abs(gap) <= limit || ++wrong > kNamed) continue;
        bad += fmt::format("{}{} and {} {} by {:.0f} mm", bad.empty() ? "" : ", ",
                           section_words(layout, boom, left.number), right.number,
                           gap < 0 ? "overlap" : "lie apart", std::abs(gap));
      }
    if (pairs == 0)
      return not_shown(out, code,
                       "no two neighbouring sections have both a width and a sideways offset (DDI 135)");
    if (wrong > kNamed) bad += fmt::format(" and {} more", wrong - kNamed);
    CheckLine& made =
        wrong == 0
            ? line(out, code, Verdict::pass,
                   fmt::format(
                       "Neighbouring sections join: {}, at most {:.0f} mm between edges; limit {:.0f} mm.",
                       counted_words(pairs, "joint", "joints"), std::abs(worst), limit))
            : line(out, code, Verdict::attention,
                   fmt::format("Neighbouring sections do not join: {}; limit {:.0f} mm.", bad, limit));
    with(with(with(made, "worst_mm", worst, 0), "limit_mm", limit, 0), "joints", static_cast<double>(pairs),
         0);
  }

  // The description lists it as a constant or a variable, or it was told or set.
  bool has(std::uint16_t element, std::initializer_list<std::uint16_t> ddis) const {
    return std::any_of(ddis.begin(), ddis.end(), [&](std::uint16_t ddi) {
      return device_.pool.property({element, ddi}) != nullptr ||
             device_.pool.variable({element, ddi}) != nullptr ||
             device_.values.find({element, ddi}) != nullptr;
    });
  }
  std::string rates_without_maximum() const {
    std::string text;
    std::size_t count = 0;
    for (const ElementObject& element : device_.pool.elements)
      for (const QuantityFamily& family : quantity_families()) {
        if (!family.is_rate() || family.maximum == kNoDdi || !has(element.number, {family.set})) continue;
        if (has(element.number, {family.maximum})) continue;
        if (++count <= kNamed)
          text += fmt::format("{}{} (DDI {})", text.empty() ? "" : ", ", device_.words(element.number),
                              family.maximum);
      }
    if (count > kNamed) text += fmt::format(" and {} more", count - kNamed);
    return text;
  }

  void missing(const Layout& layout, ImplementRecord& out) const {
    const char* code = "geometry.missing";
    if (!layout.described) return not_shown(out, code, "the device's description is not known");
    std::string bad, untold;
    std::size_t wrong = 0, unknown = 0, sections = 0;
    const auto note = [&](std::string& text, std::size_t& count, const std::string& what) {
      if (++count <= kNamed) text += (text.empty() ? "" : "; ") + what;
    };
    std::size_t without_x = 0;
    for (const BoomPlace& boom : layout.booms) {
      if (boom.sections.empty()) continue;
      for (const SectionPlace& section : boom.sections) {
        ++sections;
        const std::uint16_t element = *section.element;
        std::string lacks;
        if (!has(element, {kActualWidth, kMaximumWidth, kDefaultWidth})) lacks = "a width (DDI 67, 70 or 68)";
        if (!has(element, {kOffsetY}))
          lacks += std::string(lacks.empty() ? "" : " and ") + "a sideways offset (DDI 135)";
        if (!lacks.empty())
          note(bad, wrong, section_words(layout, boom, section.number) + " lacks " + lacks);
        else if (!section.width || !section.y_mm)
          note(untold, unknown, section_words(layout, boom, section.number));
        without_x += !has(element, {kOffsetX});
      }
      bool listed = false;
      for (const std::uint16_t one : elements_above(device_, boom.element))
        listed = listed || has(one, {kActualWidth, kMaximumWidth, kDefaultWidth});
      if (!listed) note(bad, wrong, device_.words(boom.element) + " lacks a width (DDI 70, 67 or 68)");
    }
    if (wrong > kNamed) bad += fmt::format("; and {} more", wrong - kNamed);
    if (unknown > kNamed) untold += fmt::format("; and {} more", unknown - kNamed);
    std::string hints;
    if (const std::string rates = rates_without_maximum(); !rates.empty())
      hints += fmt::format(" Without a maximum rate: {}.", rates);
    if (without_x > 0)
      hints += fmt::format(" Without a forward offset (DDI 134): {}.",
                           counted_words(without_x, "section", "sections"));
    if (wrong > 0) {
      with(line(out, code, Verdict::attention,
                fmt::format("The description is not complete: {}.{}", bad, hints)),
           "missing", static_cast<double>(wrong), 0);
      return;
    }
    if (sections == 0) return not_shown(out, code, "the description holds no sections");
    if (unknown > 0) {
      line(out, code, Verdict::not_shown,
           fmt::format("Not shown on this bus: width or offset are variables of the description, but were "
                       "neither told nor set, "
                       "of {}.{}",
                       untold, hints));
      return;
    }
    with(line(out, code, Verdict::pass,
              fmt::format("All {} have a width and an offset, and their boom a width.{}",
                          counted_words(sections, "section", "sections"), hints)),
         "sections", static_cast<double>(sections), 0);
  }

  const Device& device_;
  std::map<std::uint16_t, ToldWidth> told_;
  std::uint64_t changes_ = 0;
  std::optional<TimeNs> steady_since_;
  bool looked_ = false;
};

std::unique_ptr<DeviceWatch> make(const Device& device) {
  return std::make_unique<Geometry>(device);
}

}  // namespace

extern const DeviceWatchKind geometry;
const DeviceWatchKind geometry{"geometry", make};

}  // namespace tramlog::watches
