// Makes the record and the lines of one meter out of its tally. meter_lines.cpp: what they share, and the
// record; meter_lines_answer.cpp: the answer to steps; meter_lines_settled.cpp: the settled rate;
// meter_lines_flow.cpp: the rest.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "implement/device.hpp"
#include "implement/meter_tally.hpp"

namespace tramlog {

class MeterTeller {
 public:
  MeterTeller(const Device& device, const MeterTally& tally, ImplementRecord& out);
  void tell();

 private:
  void add_record() { out_.pairs.push_back(std::move(record_)); }

  std::string set_words(std::int64_t raw) const;
  std::string actual_words(double raw) const;
  CheckLine& line(const char* code, Verdict verdict, std::string text);
  CheckLine& not_shown(const char* code, std::string_view why);

  // Why nothing can be said at all; empty if there is something to look at.
  std::string nothing(bool needs_set) const;
  std::string no_steps() const;

  // A hunting meter swings through any answer.
  bool lost_in_swings(const MeasuredStep& step) const;
  // Several set rates, one settled rate that is the greatest of all: a limit that nobody declared.
  struct Saturation {
    const SettledStretch* first = nullptr;
    const SettledStretch* other = nullptr;
    double length_s = 0, plateau = 0;
  };
  Saturation saturation() const;

  // On the plateau of a meter that can do no more.
  bool at_plateau(double set, double delivered) const;
  bool counts_as_unanswered(const MeasuredStep& step) const;
  void record();

  // Time-weighted over the settled stretches at the set rate that was longest in force.
  std::optional<double> usual_error() const;

  std::string step_words(const StepRecord& step) const;
  void no_answer();

  // One number of each step: median, worst, the steps beyond the limit by more than their doubt.
  struct Times {
    std::vector<double> values;
    std::vector<const MeasuredStep*> beyond;
    double worst = 0;
    std::size_t incomplete = 0;
  };
  template <class Get>
  Times times(double limit, bool complete_only, Get get) const {
    Times result;
    for (const MeasuredStep& step : tally_.steps) {
      if ((complete_only && !step.record.complete) || lost_in_swings(step)) continue;
      const auto [value, doubt] = get(step);
      if (!value) continue;
      result.values.push_back(*value);
      result.worst = std::max(result.worst, *value);
      if (!step.record.complete) ++result.incomplete;
      if (*value - doubt > limit) result.beyond.push_back(&step);
    }
    return result;
  }

  void times_line(const char* code, const Times& times, double limit, std::string text, const char* key,
                  const char* worst_key, const char* limit_key, int decimals);

  std::string unsettled_words() const;
  void dead_time();
  void rise_time();
  void overshoot();
  void settled_error();

  static std::string unit_slip(const SettledStretch& stretch);
  void hunting();
  void tolerance();

  void episodes_attention(const char* code, const Episodes& episodes, const char* key, double limit,
                          std::string text);
  static std::string since_words(const Episodes& episodes);
  void no_set_rate();
  void at_limit();
  void flow_stopped();

  const Device& device_;
  const SeedingLimits& limits_;
  const MeterTally& tally_;
  ImplementRecord& out_;
  std::string subject_;
  PairRecord record_;
  Saturation saturation_;
  double range_ = 0;
  std::string range_words_;
  double longest_dead_s_ = 0;
  std::optional<HuntingJudge::Hunting> hunting_;
};

}  // namespace tramlog
