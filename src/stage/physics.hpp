// What happens physically to the machine's supplies, wires and units while a scenario plays; the symptoms
// follow from it, and the truth hears of the causes.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "stage/power.hpp"
#include "stage/random.hpp"
#include "stage/scenario.hpp"
#include "stage/truth.hpp"

namespace tramlog::stage {

class World;
class Controller;

class Physics {
 public:
  explicit Physics(World& world);

  /// Puts the voltage and the causes that are no events on the agenda.
  void schedule();
  /// True if the event is one of these; `group` is the number of the event.
  bool happen(const HappeningSpec& event, unsigned group);
  /// Share of usual frames that an error hits on this bus now.
  double noise(std::size_t bus) const { return noise_[bus]; }
  /// What a controller measures of its own supply; valid while this lives.
  const VoltageCurve* voltage_of(std::uint32_t controller) const { return &own_voltages_[controller]; }

  /// A cause begins now, with the names that the event gives.
  std::size_t open_cause(const HappeningSpec& event, std::string code, std::string origin = {});
  void end_cause(std::size_t cause);

 private:
  using Victims = std::vector<std::uint32_t>;

  void follow_voltage();
  void say_low_voltage(Controller& controller, std::size_t cause, bool low);
  std::size_t cause_of_voltage(TimeNs at);
  void crank(const HappeningSpec& event);
  void fuse_opens(const HappeningSpec& event, unsigned group);
  void contact_loose(const HappeningSpec& event, unsigned group);
  void connector_opens(const HappeningSpec& event, unsigned group);
  void stub_opens(const HappeningSpec& event, unsigned group);
  void trunk_opens(const HappeningSpec& event, unsigned group);
  void terminator_missing(const HappeningSpec& event);
  void restarts_itself(const HappeningSpec& event, unsigned group);
  void floods(const HappeningSpec& event);
  void overload(const HappeningSpec& event);
  void wrong_bit_rate(const HappeningSpec& event);
  void logger_unplugged(const HappeningSpec& event, unsigned group);
  void partner_lost(const HappeningSpec& event, unsigned group);
  void speed_source_lost(const HappeningSpec& event);
  void power_fails(const HappeningSpec& event, unsigned group);
  void bus_shorted(const HappeningSpec& event, unsigned group);
  void dies(const HappeningSpec& event, unsigned group);

  void cut_power(std::uint32_t victim, std::size_t cause, unsigned group, const std::string& words);
  void restore_power(std::uint32_t victim, const HappeningSpec* event);
  void cut_wire(std::uint32_t victim, std::size_t cause, unsigned group, const std::string& words);
  void restart(std::uint32_t victim, std::size_t cause, unsigned group, const std::string& words,
               SpanNs boot);
  void error_burst(std::size_t bus, Random& random, unsigned fewest, unsigned most, SpanNs length);
  void add_noise(std::size_t bus, double share, std::optional<SpanNs> length);
  void complain_about(std::uint32_t missing, std::optional<SpanNs> length);
  void after(std::optional<SpanNs> delay, std::function<void()> call);
  Victims on_supply(const HappeningSpec& event) const;
  std::vector<std::size_t> buses(const HappeningSpec& event) const;
  Controller& unit(std::uint32_t number);
  Random random_of(const HappeningSpec& event, unsigned group) const;

  World& world_;
  VoltageCurve voltage_;
  std::vector<VoltageCurve> own_voltages_;  // by controller
  std::vector<double> noise_;
  std::vector<std::pair<const HappeningSpec*, std::size_t>> voltage_causes_;
};

}  // namespace tramlog::stage
