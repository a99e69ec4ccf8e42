// The voltage of the machine over time, and what it does to a controller: below its brown-out voltage it is
// off, below its low-voltage limit it may say so. Volts and scenario time.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/time.hpp"
#include "stage/scenario.hpp"

namespace tramlog::stage {

/// Straight lines between points; level before the first and after the last one.
class VoltageCurve {
 public:
  struct Below {
    TimeNs start = 0;
    std::optional<TimeNs> end;  // none: for good
  };

  explicit VoltageCurve(double volts = 0) : level_(volts) {}
  explicit VoltageCurve(const Knots& knots);

  double at(TimeNs time) const;
  /// Goes on in a straight line to this point. Points that lie at or behind `time` are forgotten.
  void line_to(TimeNs time, double volts);
  /// The curve holds its value of `time` from there on, whatever was planned behind.
  void cut(TimeNs time);
  /// The same curve, this much lower, not below 0 V.
  VoltageCurve lowered(double volts) const;
  /// When it is below a limit, in time order.
  std::vector<Below> below(double limit) const;

 private:
  struct Point {
    TimeNs time;
    double volts;
  };
  double level_ = 0;  // if there are no points
  std::vector<Point> points_;
};

/// The starter: 20 ms down to `lowest` volts, there for three tenths of `length`, then a straight line up
/// to 2.5 V more at its end; 50 ms later the battery has its voltage again, 1.5 s later the alternator feeds
/// the machine.
void crank(VoltageCurve& curve, TimeNs at, SpanNs length, double lowest, const PowerSpec& power);

/// The voltage of the machine as `[power]` and the events crank and voltage make it.
VoltageCurve machine_voltage(const Scenario& scenario);
/// At one controller: that of its `[[supply]]` (its own profile, or the machine's less the drop of its
/// cables), or the machine's.
VoltageCurve voltage_at(const Scenario& scenario, const VoltageCurve& machine,
                        const ControllerSpec& controller);

/// Below this a controller is off: its own key, else drawn from the scenario's seed, 6.5 to 9.0 V.
double brown_out_volts(const Scenario& scenario, const ControllerSpec& controller);
/// FMI of SPN 168 below the low-voltage limit: its own key, else 1 or 18 by the seed.
std::uint8_t low_voltage_fmi(const Scenario& scenario, const ControllerSpec& controller);
/// Lowest voltage of a crank event: its own key, else drawn from the seed, 6.0 to 8.0 V.
double crank_volts(const Scenario& scenario, const HappeningSpec& event);
SpanNs crank_length(const Scenario& scenario, const HappeningSpec& event);

/// Something of the scenario moves the voltage.
bool voltage_moves(const Scenario& scenario);
/// The engine runs when the scenario starts: said so, or nobody cranks it later.
bool engine_runs_at_start(const Scenario& scenario);

}  // namespace tramlog::stage
