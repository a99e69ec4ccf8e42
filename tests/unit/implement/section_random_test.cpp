// Many drills, drawn: what is told about their sections against what they really did.
#include <catch2/catch.hpp>

#include "unit/implement/section_bench.hpp"

using namespace tramlog;

namespace {

double median_of(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t n = values.size();
  return n % 2 == 1 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
}

// A healthy drill out of the ranges of real ones: hoses grow longer to the outside.
BoomModel drawn(unsigned seed) {
  std::mt19937 random(seed);
  const auto draw = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  BoomModel model;
  model.sections = 4 + static_cast<unsigned>(random() % 21);
  const double inner_on = draw(0.2, 0.5), outer_on = inner_on + draw(0.0, 0.5);
  const double inner_off = draw(0.1, 0.4), outer_off = inner_off + draw(0.0, 0.4);
  for (unsigned i = 0; i < model.sections; ++i) {
    const double outside = std::abs(2.0 * i / (model.sections - 1) - 1);
    model.on_s.push_back(inner_on + outside * (outer_on - inner_on));
    model.off_s.push_back(inner_off + outside * (outer_off - inner_off));
  }
  model.master_is_derived = random() % 3 == 0;
  model.instant_when_lifted = random() % 2 == 0;
  model.sampled = random() % 4 == 0;
  model.interval_s = model.sampled ? draw(0.3, 1.0) : 2;
  model.spacing_s = random() % 2 == 0 ? 0.2 : 0.02;
  model.control = random() % 4 != 0;
  model.by_elements = random() % 4 == 0;
  model.far_steering = random() % 4 == 0;
  return model;
}

}  // namespace

TEST_CASE("random healthy drills need no attention and their delays are right", "[sections]") {
  std::size_t on_compared = 0, off_compared = 0, sections = 0;
  for (unsigned seed = 1; seed <= 60; ++seed) {
    const BoomModel model = drawn(seed);
    SectionBench bench(watches::sections);
    bench.describe(model.sections, 1500, !model.by_elements);
    const BoomTruth truth = play(bench, model, seed);
    const ImplementRecord record = bench.conclude(truth.end_s);
    INFO("seed " << seed << ", sampled " << model.sampled << ", derived " << model.master_is_derived
                 << ", elements " << model.by_elements << ", far " << model.far_steering);
    CHECK(attentions(record) == "");
    REQUIRE(record.sections.size() == model.sections);
    // The truth holds a few more answers than may be judged, so the medians may differ by their jitter.
    const double period = (model.sampled ? model.interval_s : model.spacing_s) + model.jitter_s;
    for (unsigned i = 0; i < model.sections; ++i) {
      const SectionRecord& section = record.sections[i];
      INFO("section " << section.section);
      CHECK(section.section == i + 1);
      CHECK(section.element == SectionBench::kFirst + i);
      ++sections;
      if (section.on.count > 0 && !truth.on[i].empty()) {
        ++on_compared;
        CHECK(std::abs(*section.on.median_s - median_of(truth.on[i])) <= period + 0.005);
      }
      if (section.off.count > 0 && !truth.off[i].empty()) {
        ++off_compared;
        CHECK(std::abs(*section.off.median_s - median_of(truth.off[i])) <= period + 0.005);
      }
    }
  }
  CHECK(on_compared > sections * 9 / 10);
  CHECK(off_compared > sections * 9 / 10);
}

TEST_CASE("one late section among random drills is found, and only its line", "[sections]") {
  std::size_t played = 0;
  for (unsigned seed = 1; seed <= 40; ++seed) {
    BoomModel model = drawn(seed);
    const unsigned late = seed % model.sections;
    const bool on = seed % 2 == 0;
    (on ? model.on_s : model.off_s)[late] = 2.5 + 0.05 * (seed % 20);
    SectionBench bench(watches::sections);
    bench.describe(model.sections, 1500, !model.by_elements);
    const BoomTruth truth = play(bench, model, seed);
    if ((on ? truth.on : truth.off)[late].empty()) continue;  // lifted before it answered
    ++played;
    const ImplementRecord record = bench.conclude(truth.end_s);
    INFO("seed " << seed << " late section " << late + 1 << (on ? " on" : " off") << "\n"
                 << attentions(record));
    const CheckLine& line = only_line(record, on ? "section.on-delay" : "section.off-delay");
    CHECK(line.verdict == Verdict::attention);
    CHECK(line.section == late + 1);
    CHECK(only_line(record, on ? "section.off-delay" : "section.on-delay").verdict == Verdict::pass);
    CHECK(only_line(record, "section.never-follows").verdict == Verdict::pass);
    CHECK(line.start.has_value());
  }
  CHECK(played >= 30);
}

TEST_CASE("a stuck section among random drills is found", "[sections]") {
  for (unsigned seed = 1; seed <= 40; ++seed) {
    BoomModel model = drawn(seed);
    const unsigned stuck = seed % model.sections;
    const unsigned at = seed % 2;
    model.instead = [=](unsigned section, double t) -> std::optional<unsigned> {
      return section == stuck && t > 40 ? std::optional(at) : std::nullopt;
    };
    SectionBench bench(watches::sections);
    bench.describe(model.sections, 1500, !model.by_elements);
    const BoomTruth truth = play(bench, model, seed);
    const ImplementRecord record = bench.conclude(truth.end_s);
    INFO("seed " << seed << " stuck section " << stuck + 1 << (at == 1 ? " on" : " off") << "\n"
                 << attentions(record));
    const auto lines = lines_of(record, "section.never-follows");
    CHECK(std::any_of(lines.begin(), lines.end(), [&](const CheckLine* line) {
      return line->verdict == Verdict::attention && line->section == stuck + 1;
    }));
  }
}
