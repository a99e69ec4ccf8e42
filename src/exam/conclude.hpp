// From the examiner's state to its conclusions; one object for one call of Examiner::conclude().
#pragma once

#include <map>

#include "exam/examiner_impl.hpp"
#include "exam/observations.hpp"

namespace tramlog {

class Conclude {
 public:
  explicit Conclude(Examiner::Impl& state) : state_(state) {}
  Conclusions run(const std::optional<Roster>& roster, const CauseWeights& weights);

 private:
  // conclude.cpp
  void buses();
  void controllers();
  void unclaimed();
  void trouble_codes();
  void transfers();
  void implements();
  void fold_power_down(CheckLine& line) const;
  void observe();
  void judge(const CauseWeights& weights);
  void only_chosen();
  // conclude_series.cpp
  void series();
  // observe_bus.cpp
  void observe_rates();
  void observe_requests();
  void observe_servers();
  void observe_supplies();
  std::optional<std::size_t> index_of(const Party* party) const;

  // silence_verdicts.cpp
  void bus_silences();
  void dropouts();
  void groups();
  void known_silences();
  bool key_off_before(TimeNs time) const;
  void states();
  bool went_while_blind(const SilenceRecord& record, TimeNs until) const;
  bool others_started_with(const SilenceRecord& record) const;
  std::optional<Dropout> verdict_of(const SilenceRecord& told);
  SpanNs blind_time(BusIndex bus, TimeNs from, TimeNs to) const;
  std::optional<KeySwitch> key_before(TimeNs time) const;
  std::optional<TimeNs> key_on_after(TimeNs time) const;
  std::optional<Mark> engine_stop_near(TimeNs start, std::optional<TimeNs> end) const;
  bool suspended(const SilenceRecord& record) const;
  static TimeNs suspended_until(const Suspension& suspension);
  /// Somebody had asked all of the bus to be silent (DM13) while it was.
  bool suspended(BusIndex bus, TimeNs start, TimeNs back, SpanNs limit) const;
  bool ended_in_order(BusIndex bus, const GapRecord& gap) const;

  Examiner::Impl& state_;
  Conclusions out_;
  Observations seen_;
  std::map<const Party*, std::size_t> index_;
  std::vector<SilenceRecord> silences_;
  std::vector<const SilenceRecord*> starters_;  // those that came back with a claim of their own, by start
  std::vector<KeySwitch> keys_;  // of all buses, by time
};

/// Combines presence and software into the contract's state of a roster entry.
Rollcall call_the_roll(const Roster& roster, const Conclusions& found);

}  // namespace tramlog
