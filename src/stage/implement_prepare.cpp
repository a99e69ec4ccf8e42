// Words of faults and products, and what an implement means for the rest of a scenario.
#include <algorithm>
#include <cmath>

#include "stage/random.hpp"
#include "stage/scenario.hpp"

namespace tramlog::stage {
namespace {

constexpr Pgn kLanguage = 0xFE0F;

constexpr TroubleTerms kTerms[] = {
    {"meter-slow", "meter.dead-time"},
    {"meter-hunting", "meter.hunting"},
    {"meter-offset", "meter.settled-error"},
    {"meter-overshoot", "meter.overshoot"},
    {"meter-dead", "meter.no-answer"},
    {"meter-no-set-rate", "meter.no-set-rate"},
    {"meter-limit", "meter.at-limit"},
    {"meter-flow-stopped", "meter.flow-stopped"},
    {"section-stuck-on", "section.never-follows"},
    {"section-stuck-off", "section.never-follows"},
    {"section-late", "section.on-delay"},
    {"section-late-off", "section.off-delay"},
    {"section-flicker", "section.flicker"},
    {"section-outside-work", "section.outside-work"},
    {"section-error", "section.error"},
    {"section-overridden", "section.overridden"},
    {"implement-off", "work-state.disagree"},
    {"wheel-lost", "speed.source-lost"},
    {"ground-lost", "speed.source-lost"},
    {"selected-lost", "speed.source-lost"},
    {"sources-differ", "speed.sources-differ"},
    {"source-fallback", "speed.source"},
    {"zero-while-working", "speed.zero-while-working"},
    {"fix-lost", "position.lost"},
    {"fix-degraded", "position.degraded"},
    {"blower-low", "blower.range"},
    {"pressure-low", "pressure.range"},
    {"bin-empty", "bin.low"},
    {"total-wrong", "total.differs"},
    {"total-frozen", "total.frozen"},
    {"total-back", "total.jumped-back"},
    {"area-wrong", "total.area"},
    {"task-controller-lost", "task-controller.lost"},
    {"status-late", "task-controller.status-late"},
    {"client-lost", "device.client-lost"},
    {"pool-refused", "device.pool-refused"},
    {"value-refused", "process-data.refused"},
    {"no-answer", "process-data.unanswered"},
    {"value-missing", "process-data.value-missing"},
    {"echo-missing", "device.task-out-of-step"},
    {"width-wrong", "geometry.width"},
    {"overlap", "geometry.overlap"},
    {"missing-offsets", "geometry.missing"},
    {"units-differ", "units.disagree"},
    {"order-swapped", "geometry.order"},
    {"pool-broken", "device.pool-broken"},
    {"undeclared", "process-data.undeclared"},
    {"fewer-sections", "device.version"},
};
static_assert(std::size(kTerms) == kTroubles);

// mass: mg/m2, grams; volume: 0.01 mm3/m2, millilitres; count: 0.001/m2, pieces.
constexpr ProductTerms kProducts[] = {
    {6, 7, 9, 10, 352, 1e-3, 75, 76}, {1, 2, 4, 5, 351, 1e-5, 72, 73}, {11, 12, 14, 15, 82, 1e-3, 78, 79}};

void answer_language(Scenario& scenario, const std::string& label, std::array<std::uint8_t, 8> language) {
  for (ControllerSpec& controller : scenario.controllers) {
    if (controller.label != label) continue;
    const bool has = std::any_of(controller.answers.begin(), controller.answers.end(),
                                 [](const AnswerSpec& answer) { return answer.pgn == kLanguage; });
    if (!has) controller.answers.push_back({kLanguage, {language.begin(), language.end()}});
  }
}

void silence(Scenario& scenario, const FaultSpec& fault, const std::string& label, const char* cause) {
  HappeningSpec happening;
  happening.what = HappeningSpec::What::mute;
  happening.at = fault.at;
  happening.length = fault.length;
  happening.controller = label;
  happening.cause = cause;
  scenario.happenings.push_back(std::move(happening));
}

}  // namespace

const TroubleTerms& terms(Trouble trouble) {
  return kTerms[static_cast<std::size_t>(trouble)];
}
const ProductTerms& terms(Product product) {
  return kProducts[static_cast<std::size_t>(product)];
}

void place_sections(ImplementSpec& implement, std::size_t count, std::int32_t width_mm, std::int32_t x_mm,
                    SpanNs on_delay, SpanNs off_delay, SpanNs outer) {
  implement.sections.clear();
  const double middle = (static_cast<double>(count) - 1) / 2;
  for (std::size_t i = 0; i < count; ++i) {
    const double place = static_cast<double>(i) - middle;
    const double out = middle == 0 ? 0 : std::abs(place) / middle;
    SectionSpec section;
    section.x_mm = x_mm;
    section.y_mm = static_cast<std::int32_t>(place * width_mm);
    section.width_mm = width_mm;
    const auto more = static_cast<SpanNs>(out * static_cast<double>(outer));
    section.on_delay = on_delay + more;
    section.off_delay = off_delay + more;
    implement.sections.push_back(section);
  }
}

void prepare_implements(Scenario& scenario) {
  for (ImplementSpec& implement : scenario.implements) {
    if (implement.random) draw_implement(implement, seed_for(scenario.seed, "implement"));
    if (implement.random) scenario.duration = implement.task_end + 6 * kSecond;
    bool other_units = false;
    for (FaultSpec& fault : implement.faults) {
      if (fault.what == Trouble::tc_lost)
        silence(scenario, fault, implement.task_controller, "task controller silent");
      if (fault.what == Trouble::client_lost && fault.how != kTaskMessage)
        silence(scenario, fault, implement.client, "client silent");
      if (fault.what == Trouble::units_differ) other_units = true;
      if (fault.what == Trouble::meter_limit) {
        MeterSpec& meter = implement.meters[fault.meter - 1];
        double largest = 0;
        for (const auto& [at, raw] : meter.rates) largest = std::max(largest, raw);
        meter.maximum = largest * (fault.strength == 0 ? 85 : fault.strength) / 100;
      }
      if (fault.what == Trouble::meter_no_set_rate) {
        MeterSpec& meter = implement.meters[fault.meter - 1];
        const SpanNs end = fault.length ? fault.at + *fault.length : implement.task_end;
        double before = 0;
        for (const auto& [at, raw] : meter.rates) before = at <= end ? raw : before;
        std::erase_if(meter.rates,
                      [&](const auto& knot) { return knot.first >= fault.at && knot.first <= end; });
        meter.rates.emplace_back(fault.at, 0.0);
        if (fault.length) meter.rates.emplace_back(end, before);
        std::stable_sort(meter.rates.begin(), meter.rates.end(),
                         [](const auto& a, const auto& b) { return a.first < b.first; });
      }
    }
    auto others = implement.language;
    if (other_units) others[4] = 0x55, others[5] = 0x01;  // imperial
    answer_language(scenario, implement.task_controller, implement.language);
    if (!implement.terminal.empty()) answer_language(scenario, implement.terminal, others);
  }
}

}  // namespace tramlog::stage
