// Supplies and wires.
#include "stage/physics.hpp"

#include <algorithm>

#include "stage/wiring.hpp"
#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

using What = HappeningSpec::What;

constexpr std::uint32_t kClassBusError = 0x88;
constexpr SpanNs kHoldUp = 20 * kMillisecond;  // capacitors of a unit: shorter openings do nothing
constexpr SpanNs kSaysLowAfter = 100 * kMillisecond, kSaysGoodAfter = kSecond;
constexpr double kOpenTrunkNoise = 0.02;  // share of frames on a trunk without its far terminator
constexpr double kBarelyNoise = 1e-9;
constexpr std::uint32_t kLowVoltage = 168, kPartner = 2000;

}  // namespace

Physics::Physics(World& world) : world_(world), noise_(world.scenario.buses.size(), 0) {}

Controller& Physics::unit(std::uint32_t number) {
  return *world_.controllers[number];
}

Random Physics::random_of(const HappeningSpec& event, unsigned group) const {
  return Random(seed_for(world_.scenario.seed, "event", static_cast<std::uint64_t>(event.at) + group));
}

void Physics::after(std::optional<SpanNs> delay, std::function<void()> call) {
  if (delay) world_.agenda.call_at(world_.now() + *delay, std::move(call));
}

std::size_t Physics::open_cause(const HappeningSpec& event, std::string code, std::string origin) {
  CauseTruth cause;
  cause.code = std::move(code);
  cause.origin = std::move(origin);
  cause.supply = event.supply;
  cause.branch = event.branch;
  cause.bus = event.bus.value_or(0);
  const Controller* named = world_.find(cause.origin.empty() ? event.controller : cause.origin);
  if (!event.bus && named != nullptr) cause.bus = named->spec().bus;
  if (!event.branch.empty()) {
    const Victims behind = behind_branch(world_.scenario, event.branch);
    if (!event.bus && !behind.empty()) cause.bus = unit(behind.front()).spec().bus;
  }
  cause.start = world_.recorder.stamp(world_.now());
  return world_.truth.cause(std::move(cause));
}

void Physics::end_cause(std::size_t cause) {
  world_.truth.cause_ends(cause, world_.recorder.stamp(world_.now()));
}

std::vector<std::size_t> Physics::buses(const HappeningSpec& event) const {
  if (event.bus) return {*event.bus};
  std::vector<std::size_t> all(world_.buses.size());
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = i;
  return all;
}

Physics::Victims Physics::on_supply(const HappeningSpec& event) const {
  Victims found;
  for (std::uint32_t i = 0; i < world_.controllers.size(); ++i) {
    const ControllerSpec& spec = world_.controllers[i]->spec();
    if (spec.absent || (event.bus && spec.bus != *event.bus)) continue;
    if (!event.supply.empty() && spec.supply != event.supply) continue;
    if (!event.side.empty() && spec.side != event.side) continue;
    found.push_back(i);
  }
  return found;
}

void Physics::cut_power(std::uint32_t victim, std::size_t cause, unsigned group, const std::string& words) {
  Controller& one = unit(victim);
  const bool ran = one.powered();
  one.cut_power();
  if (!ran) return;
  world_.truth.cause_hits(cause, victim);
  world_.truth.begin_silence(victim, world_.now(), Silence::controller, words, group);
}

void Physics::restore_power(std::uint32_t victim, const HappeningSpec* event) {
  Controller& one = unit(victim);
  one.restore_power(event != nullptr && event->boot ? *event->boot : one.spec().boot);
}

void Physics::cut_wire(std::uint32_t victim, std::size_t cause, unsigned group, const std::string& words) {
  Controller& one = unit(victim);
  const bool spoke = one.can_send();
  one.cut_wire();
  if (!spoke) return;
  world_.truth.cause_hits(cause, victim);
  world_.truth.begin_silence(victim, world_.now(), Silence::controller, words, group);
}

void Physics::error_burst(std::size_t bus, Random& random, unsigned fewest, unsigned most, SpanNs length) {
  const auto count = static_cast<unsigned>(random.between(fewest, most));
  for (unsigned i = 0; i < count; ++i) {
    const auto bit = static_cast<unsigned>(random.below(128));
    const WireError error = wire_error(bit, 8, random.next());
    after(random.between(0, length), [this, bus, error] {
      world_.recorder.error_frame(bus, world_.now(), kClassBusError, {0, 0, error.type, error.place});
    });
  }
}

void Physics::add_noise(std::size_t bus, double share, std::optional<SpanNs> length) {
  noise_[bus] += share;
  after(length, [this, bus, share] {
    noise_[bus] -= share;
    if (noise_[bus] < kBarelyNoise) noise_[bus] = 0;
  });
}

void Physics::schedule() {
  const Scenario& scenario = world_.scenario;
  voltage_ = machine_voltage(scenario);
  world_.machine.voltage = &voltage_;
  for (const ControllerSpec& spec : scenario.controllers)
    own_voltages_.push_back(voltage_at(scenario, voltage_, spec));
  world_.machine.engine_runs = engine_runs_at_start(scenario);
  if (voltage_moves(scenario)) follow_voltage();
  for (const CauseSpec& told : scenario.causes) {
    world_.agenda.call_at(told.from, [this, &told] {
      CauseTruth cause;
      cause.code = told.code;
      cause.bus = told.bus;
      cause.supply = told.supply;
      cause.branch = told.branch;
      cause.origin = told.origin;
      cause.start = world_.recorder.stamp(world_.now());
      const std::size_t number = world_.truth.cause(std::move(cause));
      for (const std::string& label : told.controllers)
        world_.truth.cause_hits(number, world_.find(label)->index());
      if (told.until) world_.agenda.call_at(*told.until, [this, number] { end_cause(number); });
    });
  }
}

// The event that lowered the voltage last; a supply's own profile has none and gets a cause of its own.
std::size_t Physics::cause_of_voltage(TimeNs at) {
  const HappeningSpec *last = nullptr, *cure = nullptr;
  for (const HappeningSpec& event : world_.scenario.happenings) {
    if (event.what != What::crank && event.what != What::voltage) continue;
    const bool lowers = event.what == What::crank || event.volts.value_or(0) < voltage_.at(event.at);
    if (lowers && event.at <= at && (last == nullptr || event.at >= last->at)) last = &event;
  }
  for (const auto& [event, cause] : voltage_causes_) {
    if (event == last) return cause;
  }
  const bool cranked = last != nullptr && last->what == What::crank;
  for (const HappeningSpec& event : world_.scenario.happenings) {
    if (last == nullptr || event.what != What::voltage || event.at <= last->at) continue;
    if (event.volts.value_or(0) > voltage_.at(event.at) && (cure == nullptr || event.at < cure->at))
      cure = &event;
  }
  CauseTruth cause;
  cause.code = cranked ? "supply.cranking" : "supply.low-voltage";
  cause.start = world_.recorder.stamp(last != nullptr ? last->at : at);
  if (cranked) {
    cause.end = world_.recorder.stamp(last->at + crank_length(world_.scenario, *last));
  } else if (cure != nullptr) {
    cause.end = world_.recorder.stamp(cure->at + cure->length.value_or(0));
  }
  cause.needs_victims = true;
  voltage_causes_.emplace_back(last, world_.truth.cause(std::move(cause)));
  return voltage_causes_.back().second;
}

void Physics::follow_voltage() {
  const Scenario& scenario = world_.scenario;
  for (std::uint32_t i = 0; i < scenario.controllers.size(); ++i) {
    const ControllerSpec& spec = scenario.controllers[i];
    if (spec.absent) continue;
    const VoltageCurve& curve = own_voltages_[i];
    for (const VoltageCurve::Below& below : curve.below(brown_out_volts(scenario, spec))) {
      world_.agenda.call_at(below.start, [this, i] {
        const std::size_t cause = cause_of_voltage(world_.now());
        cut_power(i, cause, static_cast<unsigned>(cause + 100'000), "supply voltage too low");
      });
      if (below.end) world_.agenda.call_at(*below.end, [this, i] { restore_power(i, nullptr); });
    }
    if (!spec.reports_low_voltage) continue;
    for (const VoltageCurve::Below& below : curve.below(spec.low_voltage)) {
      // Looked at again and again: whoever starts below the limit says so, too.
      const TimeNs end = below.end.value_or(scenario.duration);
      for (TimeNs at = below.start + kSaysLowAfter; at < end; at += 2 * kSecond) {
        world_.agenda.call_at(at,
                              [this, i] { say_low_voltage(unit(i), cause_of_voltage(world_.now()), true); });
      }
      if (below.end) {
        world_.agenda.call_at(end + kSaysGoodAfter, [this, i] { say_low_voltage(unit(i), 0, false); });
      }
    }
  }
}

void Physics::say_low_voltage(Controller& controller, std::size_t cause, bool low) {
  const std::uint8_t fmi = low_voltage_fmi(world_.scenario, controller.spec());
  if (!low) return controller.clear_dtc(kLowVoltage, fmi);
  if (!controller.operational()) return;
  // While the starter turns, a low voltage is as it should be.
  if (!world_.machine.cranking) world_.truth.cause_hits(cause, controller.index());
  controller.set_dtc(kLowVoltage, fmi);
}

void Physics::crank(const HappeningSpec& event) {
  world_.machine.cranking = true;
  after(crank_length(world_.scenario, event), [this] {
    world_.machine.cranking = false;
    world_.machine.engine_runs = true;
  });
}

void Physics::fuse_opens(const HappeningSpec& event, unsigned group) {
  const Victims victims = on_supply(event);
  const std::size_t cause = open_cause(event, "supply.shared");
  for (const std::uint32_t victim : victims) {
    cut_power(victim, cause, group, event.cause.empty() ? "fuse open" : event.cause);
  }
  after(event.length, [this, victims, cause, &event] {
    for (const std::uint32_t victim : victims) restore_power(victim, &event);
    end_cause(cause);
  });
}

void Physics::contact_loose(const HappeningSpec& event, unsigned group) {
  Random random = random_of(event, group);
  const bool single = !event.controller.empty();
  const Victims victims = single ? Victims{world_.find(event.controller)->index()} : on_supply(event);
  const std::size_t cause =
      open_cause(event, single ? "supply.unit" : "supply.shared", single ? event.controller : std::string());
  const unsigned openings = event.openings.value_or(static_cast<unsigned>(random.between(3, 8)));
  TimeNs at = 0;
  for (unsigned k = 0; k < openings; ++k) {
    // One in each equal part of the span, so that none begins within another.
    const SpanNs part = *event.length / openings;
    const SpanNs open =
        random.between(event.shortest, std::max(event.shortest, std::min(event.longest, part / 2)));
    const SpanNs room = std::max<SpanNs>(0, part - open - kMillisecond);
    at = static_cast<SpanNs>(k) * part + (k == 0 ? random.between(0, room / 4) : random.between(0, room));
    if (open < kHoldUp) continue;
    const unsigned number = group + 1000 * (k + 1);
    after(at, [this, victims, cause, number, open, &event] {
      for (const std::uint32_t victim : victims) cut_power(victim, cause, number, "contact loose");
      after(open, [this, victims, &event] {
        for (const std::uint32_t victim : victims) restore_power(victim, &event);
      });
    });
  }
  after(event.length, [this, cause] { end_cause(cause); });
}

void Physics::connector_opens(const HappeningSpec& event, unsigned group) {
  Random random = random_of(event, group);
  const Victims victims = behind_branch(world_.scenario, event.branch);
  const bool power = find_branch(world_.scenario, event.branch)->power;
  const std::size_t cause = open_cause(event, "connector.hitch");
  const std::size_t bus = victims.empty() ? 0 : unit(victims.front()).spec().bus;
  const SpanNs rattles = random.between(50, 150) * kMillisecond;
  error_burst(bus, random, 20, 60, rattles);
  after(rattles, [this, victims, cause, group, power] {
    for (const std::uint32_t victim : victims) {
      if (power) {
        cut_power(victim, cause, group, "connector open");
      } else {
        cut_wire(victim, cause, group, "connector open");
      }
    }
  });
  if (!event.length) return;
  Random closing(random.next());
  after(std::max(*event.length, rattles + kMillisecond),
        [this, victims, cause, power, bus, closing, &event]() mutable {
          error_burst(bus, closing, 4, 15, 30 * kMillisecond);
          for (const std::uint32_t victim : victims) {
            if (power) {
              restore_power(victim, &event);
            } else {
              unit(victim).restore_wire();
            }
          }
          end_cause(cause);
        });
}

void Physics::stub_opens(const HappeningSpec& event, unsigned group) {
  const std::uint32_t victim = world_.find(event.controller)->index();
  const std::size_t cause = open_cause(event, "wiring.stub", event.controller);
  cut_wire(victim, cause, group, "CAN wire of the stub open");
  complain_about(victim, event.length);
  after(event.length, [this, victim, cause] {
    unit(victim).restore_wire();
    end_cause(cause);
  });
}

void Physics::trunk_opens(const HappeningSpec& event, unsigned group) {
  Random random = random_of(event, group);
  const Victims victims = behind_branch(world_.scenario, event.branch);
  const std::size_t cause = open_cause(event, "wiring.trunk");
  const std::size_t bus = victims.empty() ? 0 : unit(victims.front()).spec().bus;
  error_burst(bus, random, 10, 30, 60 * kMillisecond);
  for (const std::uint32_t victim : victims) cut_wire(victim, cause, group, "trunk open");
  add_noise(bus, event.share.value_or(kOpenTrunkNoise), event.length);
  after(event.length, [this, victims, cause] {
    for (const std::uint32_t victim : victims) unit(victim).restore_wire();
    end_cause(cause);
  });
}

// Fact sheet 3.3: SPN 2000 + address, FMI 9 or 19, by those who expect its messages.
void Physics::complain_about(std::uint32_t missing, std::optional<SpanNs> length) {
  const Controller& lost = unit(missing);
  if (!lost.has_address()) return;
  const std::uint32_t spn = kPartner + lost.address();
  for (const auto& controller : world_.controllers) {
    Controller* partner = controller.get();
    const ControllerSpec& spec = partner->spec();
    if (!spec.complains || partner->index() == missing || spec.bus != lost.spec().bus) continue;
    Random random(seed_for(world_.scenario.seed, spec.label, spn));
    const std::uint8_t fmi = random.below(2) == 0 ? 9 : 19;
    const SpanNs notices = random.between(1000, 3000) * kMillisecond;
    if (length && *length <= notices) continue;
    after(notices, [partner, spn, fmi] {
      if (partner->hears()) partner->set_dtc(spn, fmi);
    });
    if (length) after(*length + kSecond, [partner, spn, fmi] { partner->clear_dtc(spn, fmi); });
  }
}

}  // namespace tramlog::stage
