// What pictures are drawn from, in steps that all of them share.
#include <cmath>

#include "exam/conclude.hpp"
#include "exam/rates.hpp"

namespace tramlog {
namespace {

/// From raw values to the unit that the implement presents them in, else the dictionary's.
struct Scale {
  const PresentationObject* presentation = nullptr;
  double factor = 1;
  std::string unit;

  void apply(std::vector<float>& raws) const {
    for (float& raw : raws)
      raw = static_cast<float>(presentation != nullptr ? presented_value(*presentation, raw) : raw * factor);
  }
};

Scale scale_of(const Schema& schema, const DevicePool& pool, ProcessVariable variable) {
  Scale scale;
  const PresentationObject* presentation = pool.presentation(variable);
  if (presentation != nullptr && std::isfinite(presentation->scale)) {
    scale.presentation = presentation;
    scale.unit = presentation->unit;
    return scale;
  }
  const DictionaryEntry* entry = schema.dictionary().find(variable.ddi);
  if (entry == nullptr) return scale;
  scale.factor = entry->resolution.to_double();
  scale.unit = entry->unit == "#" ? "pieces" : entry->unit == "n/a" ? "" : entry->unit;
  return scale;
}

}  // namespace

void Conclude::series() {
  DaySeries& out = out_.series;
  std::vector<const StepSeries*> all;
  for (const auto& bus : state_.buses_) all.push_back(&bus->window_series);
  for (const Party* party : state_.supplies_) all.push_back(&party->supply.told);
  for (const ImplementRecord& implement : out_.seeding.implements) {
    for (const PairRecord& pair : implement.pairs)
      all.insert(all.end(), {&pair.set_series, &pair.actual_series});
    for (const SectionRecord& one : implement.sections)
      all.insert(all.end(), {&one.commanded_series, &one.on_series});
  }
  // A clock that was put back leaves values before the first event; they belong to the picture.
  TimeNs from = out_.start, to = out_.end;
  bool any = false;
  for (const StepSeries* one : all) {
    if (one->empty()) continue;
    any = true;
    from = std::min(from, one->first());
    to = std::max(to, one->last());
  }
  if (!any) return;
  const StepGrid grid = common_grid(from, to, all);
  out.start = grid.start;
  out.step = grid.step;
  out.steps = grid.count;
  const auto drawn = [&](const StepSeries& one) { return one.drawn(grid.start, grid.step, grid.count); };

  for (std::size_t i = 0; i < state_.buses_.size(); ++i) {
    const StepSeries& bits = state_.buses_[i]->window_series;
    if (bits.empty()) continue;
    StepSeries::Line line = drawn(bits);
    const auto percent = static_cast<float>(100.0 / static_cast<double>(out_.buses[i].bitrate));
    for (auto* values : {&line.mean, &line.greatest})
      for (float& value : *values) value *= percent;
    out.loads.push_back({static_cast<BusIndex>(i), std::move(line.mean), std::move(line.greatest)});
  }
  for (const Party* party : state_.supplies_) {
    StepSeries::Line line = drawn(party->supply.told);
    for (auto* values : {&line.least, &line.greatest})
      for (float& value : *values) value *= static_cast<float>(SupplyLimits::kVolts);
    out.voltages.push_back(
        {index_of(party), party->address, party->bus, std::move(line.least), std::move(line.greatest)});
  }
  for (std::size_t i = 0; i < out_.seeding.implements.size(); ++i) {
    const ImplementRecord& implement = out_.seeding.implements[i];
    for (std::size_t k = 0; k < implement.pairs.size(); ++k) {
      const PairRecord& pair = implement.pairs[k];
      if (pair.set_series.empty() && pair.actual_series.empty()) continue;
      const Scale scale = scale_of(state_.schema_, implement.pool, {pair.element, pair.actual_ddi});
      StepSeries::Line set = drawn(pair.set_series), actual = drawn(pair.actual_series);
      scale.apply(set.mean);
      scale.apply(actual.mean);
      out.rates.push_back(
          {i, k, pair.subject, pair.quantity, scale.unit, std::move(set.mean), std::move(actual.mean)});
    }
    for (const SectionRecord& one : implement.sections) {
      if (one.commanded_series.empty() && one.on_series.empty()) continue;
      StepSeries::Line commanded = drawn(one.commanded_series), on = drawn(one.on_series);
      out.sections.push_back({i, one.section, one.subject, std::move(commanded.mean), std::move(on.mean)});
    }
  }
}

}  // namespace tramlog
