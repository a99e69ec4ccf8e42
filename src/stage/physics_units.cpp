// Units, the bus as a whole, partners and sources.
#include <algorithm>
#include <cmath>

#include "stage/physics.hpp"
#include "stage/wiring.hpp"
#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

using What = HappeningSpec::What;

// Fact sheet, network and diagnostics, 6.4 and 6.5.
constexpr SpanNs kTerminalGone = 3 * kSecond, kTaskControllerGone = 6 * kSecond;
constexpr SpanNs kPartnerTrusted = 3 * kSecond;   // after its start-up, until its clients talk to it again
constexpr double kMissingTerminatorNoise = 0.02;  // share of frames
constexpr double kSurvive = 0.002;                // share of frames that come through beside a wrong bit rate
constexpr double kMoreLoad = 0.6;
constexpr SpanNs kExtraPeriod = 20 * kMillisecond;
constexpr double kBitsOfUsualFrame = 140;
constexpr Pgn kFirstExtraPgn = 0xFF60;
constexpr std::size_t kMostExtra = 24;  // messages of one controller

constexpr SpanNs kShortestHold = 10 * kMillisecond, kLongestHold = 300 * kMillisecond;
// SocketCAN error frames: class "controller", data[1].
constexpr std::uint32_t kClassController = 0x04;
constexpr std::uint8_t kReceiverPassive = 0x10, kActiveAgain = 0x40;

constexpr Pgn kSpeedPgns[] = {0xFE48, 0xFE49, 0xF022, 129025, 129026, 129029};

bool sends(const ControllerSpec& spec, Pgn pgn) {
  return std::any_of(spec.messages.begin(), spec.messages.end(),
                     [pgn](const MessageSpec& message) { return message.pgn == pgn; });
}

}  // namespace

bool Physics::happen(const HappeningSpec& event, unsigned group) {
  switch (event.what) {
    case What::crank:
      crank(event);
      return true;
    case What::voltage:
      return true;  // all of it is in the voltage's curve
    case What::fuse_opens:
      fuse_opens(event, group);
      return true;
    case What::contact_loose:
      contact_loose(event, group);
      return true;
    case What::connector_opens:
      connector_opens(event, group);
      return true;
    case What::stub_opens:
      stub_opens(event, group);
      return true;
    case What::trunk_opens:
      trunk_opens(event, group);
      return true;
    case What::terminator_missing:
      terminator_missing(event);
      return true;
    case What::restarts_itself:
      restarts_itself(event, group);
      return true;
    case What::floods:
      floods(event);
      return true;
    case What::overload:
      overload(event);
      return true;
    case What::wrong_bit_rate:
      wrong_bit_rate(event);
      return true;
    case What::logger_unplugged:
      logger_unplugged(event, group);
      return true;
    case What::task_controller_lost:
    case What::terminal_lost:
      partner_lost(event, group);
      return true;
    case What::speed_source_lost:
      speed_source_lost(event);
      return true;
    case What::dies:
      dies(event, group);
      return true;
    case What::power_fails:
      power_fails(event, group);
      return true;
    case What::bus_shorted:
      bus_shorted(event, group);
      return true;
    case What::mark:
      world_.recorder.mark(world_.now(), event.text);
      return true;
    case What::disk_trouble:
      world_.recorder.disk(world_.now(), event.text, event.count);
      return true;
    default:
      return false;
  }
}

void Physics::terminator_missing(const HappeningSpec& event) {
  for (const std::size_t bus : buses(event)) {
    HappeningSpec here = event;
    here.bus = bus;
    const std::size_t cause = open_cause(here, "wiring.termination");
    add_noise(bus, event.share.value_or(kMissingTerminatorNoise), event.length);
    after(event.length, [this, cause] { end_cause(cause); });
  }
}

void Physics::restart(std::uint32_t victim, std::size_t cause, unsigned group, const std::string& words,
                      SpanNs boot) {
  Controller& one = unit(victim);
  if (!one.powered()) return;
  one.power_off();
  world_.truth.cause_hits(cause, victim);
  world_.truth.begin_silence(victim, world_.now(), Silence::controller, words, group);
  one.power_on(boot);
}

void Physics::restarts_itself(const HappeningSpec& event, unsigned group) {
  const std::uint32_t victim = world_.find(event.controller)->index();
  const SpanNs boot = event.boot.value_or(unit(victim).spec().boot);
  const std::size_t cause = open_cause(event, "unit.restarts", event.controller);
  std::vector<TimeNs> times = event.times;
  const TimeNs end = world_.now() + event.length.value_or(world_.scenario.duration);
  if (event.every) {
    for (TimeNs at = world_.now(); at <= std::min(end, world_.scenario.duration); at += *event.every)
      times.push_back(at);
  }
  unsigned number = group;
  for (const TimeNs at : times) {
    number += 1000;
    world_.agenda.call_at(at, [this, victim, cause, number, boot] {
      restart(victim, cause, number, "restarts by itself", boot);
    });
  }
  after(event.length, [this, cause] { end_cause(cause); });
}

void Physics::floods(const HappeningSpec& event) {
  const std::uint32_t culprit = world_.find(event.controller)->index();
  const std::size_t cause = open_cause(event, "unit.floods", event.controller);
  world_.truth.cause_hits(cause, culprit);
  world_.streams.set_pace(culprit, event.pgn, event.period);
  after(event.length, [this, culprit, cause, &event] {
    world_.streams.set_pace(culprit, event.pgn, std::nullopt);
    end_cause(cause);
  });
}

void Physics::overload(const HappeningSpec& event) {
  for (const std::size_t bus : buses(event)) {
    Victims senders;
    for (std::uint32_t i = 0; i < world_.controllers.size(); ++i) {
      const ControllerSpec& spec = unit(i).spec();
      const bool named = event.controllers.empty() ||
                         std::find(event.controllers.begin(), event.controllers.end(), spec.label) !=
                             event.controllers.end();
      if (named && spec.bus == bus && unit(i).operational()) senders.push_back(i);
    }
    if (senders.empty()) continue;
    HappeningSpec here = event;
    here.bus = bus;
    const std::size_t cause = open_cause(here, "bus.overload");
    const double frames =
        event.load.value_or(kMoreLoad) * world_.scenario.buses[bus].bitrate / kBitsOfUsualFrame;
    const double messages = frames * to_seconds(kExtraPeriod);
    auto left = static_cast<std::size_t>(std::lround(messages));
    for (std::size_t k = 0; k < senders.size(); ++k) {
      const std::size_t count = std::min(kMostExtra, (left + senders.size() - k - 1) / (senders.size() - k));
      left -= std::min(left, count);
      world_.truth.cause_hits(cause, senders[k]);
      for (std::size_t m = 0; m < count; ++m) {
        MessageSpec extra;
        extra.pgn = kFirstExtraPgn + static_cast<Pgn>(m);
        extra.period = kExtraPeriod;
        extra.jitter = kMillisecond;
        extra.until = world_.now() + *event.length;
        extra.payload.base = {0, static_cast<std::uint8_t>(m), 0x10, 0x27, 0xFF, 0xFF, 0xFF, 0xFF};
        extra.payload.variations = {{Variation::How::counter, 1, 1, 0, 255, 1}};
        world_.streams.add_now(senders[k], std::move(extra),
                               seed_for(world_.scenario.seed, unit(senders[k]).spec().label, 5000 + m));
      }
    }
    after(event.length, [this, cause] { end_cause(cause); });
  }
}

// With a culprit the bus itself is spoiled; without one the recorder listens wrongly and the machine is well.
void Physics::wrong_bit_rate(const HappeningSpec& event) {
  Controller* culprit = event.controller.empty() ? nullptr : world_.find(event.controller);
  HappeningSpec here = event;
  if (culprit != nullptr) here.bus = culprit->spec().bus;
  for (const std::size_t bus : buses(here)) {
    HappeningSpec one = here;
    one.bus = bus;
    const std::size_t cause = open_cause(one, "bus.bit-rate", event.controller);
    if (culprit == nullptr) {
      world_.recorder.set_garbled(bus, world_.now(), true);
    } else {
      culprit->cut_wire();
      add_noise(bus, 1 - event.share.value_or(kSurvive), event.length);
      for (const auto& controller : world_.controllers) {
        if (controller->spec().bus == bus && !controller->spec().absent)
          world_.truth.cause_hits(cause, controller->index());
      }
    }
    after(event.length, [this, cause, bus, culprit] {
      if (culprit == nullptr) world_.recorder.set_garbled(bus, world_.now(), false);
      end_cause(cause);
    });
  }
}

// The feed of everything on the bus: each unit talks on for as long as its capacitors hold.
void Physics::power_fails(const HappeningSpec& event, unsigned group) {
  for (const std::size_t bus : buses(event)) {
    HappeningSpec here = event;
    here.bus = bus;
    const std::size_t cause = open_cause(here, "bus.power-or-trunk");
    Random random = random_of(event, group + static_cast<unsigned>(bus));
    Victims victims;
    for (std::uint32_t i = 0; i < world_.controllers.size(); ++i) {
      const ControllerSpec& spec = unit(i).spec();
      if (spec.bus == bus && !spec.absent) victims.push_back(i);
    }
    for (const std::uint32_t victim : victims)
      after(random.between(kShortestHold, kLongestHold), [this, victim, cause, group] {
        Controller& one = unit(victim);
        const bool ran = one.powered();
        one.cut_power();
        if (!ran) return;
        world_.truth.cause_hits(cause, victim);
        world_.truth.begin_silence(victim, world_.now(), Silence::bus_silent, "no power on the bus", group);
      });
    if (!event.length) continue;
    after(std::max(*event.length, kLongestHold + kMillisecond), [this, victims, cause, &event] {
      for (const std::uint32_t victim : victims) restore_power(victim, &event);
      end_cause(cause);
    });
  }
}

// CAN_H and CAN_L touch: the frame on its way breaks, senders try until they are off the bus, and nothing
// comes through. All of them go on running.
void Physics::bus_shorted(const HappeningSpec& event, unsigned group) {
  for (const std::size_t bus : buses(event)) {
    HappeningSpec here = event;
    here.bus = bus;
    const std::size_t cause = open_cause(here, "bus.power-or-trunk");
    Random random = random_of(event, group + static_cast<unsigned>(bus));
    error_burst(bus, random, 20, 60, 15 * kMillisecond);
    after(16 * kMillisecond, [this, bus] {
      world_.recorder.error_frame(bus, world_.now(), kClassController, {0, kReceiverPassive, 0, 0});
    });
    world_.buses[bus]->set_dead(true);
    for (const auto& controller : world_.controllers) {
      if (controller->spec().bus != bus || !controller->can_send()) continue;
      world_.truth.cause_hits(cause, controller->index());
      world_.truth.begin_silence(controller->index(), world_.now(), Silence::bus_silent, "bus wires shorted",
                                 group);
    }
    after(event.length, [this, bus, cause] {
      world_.buses[bus]->set_dead(false);
      world_.recorder.error_frame(bus, world_.now(), kClassController, {0, kActiveAgain, 0, 0});
      end_cause(cause);
    });
  }
}

// Nobody fell silent, but to the recorder the whole bus did.
void Physics::logger_unplugged(const HappeningSpec& event, unsigned group) {
  for (const std::size_t bus : buses(event)) {
    HappeningSpec here = event;
    here.bus = bus;
    const std::size_t cause = open_cause(here, "recorder.connection");
    world_.recorder.set_unplugged(bus, true);
    for (const auto& controller : world_.controllers) {
      if (controller->spec().bus != bus || !controller->can_send()) continue;
      world_.truth.begin_silence(controller->index(), world_.now(), Silence::bus_silent, "recorder unplugged",
                                 group);
    }
    after(event.length, [this, cause, bus] {
      world_.recorder.set_unplugged(bus, false);
      end_cause(cause);
    });
  }
}

// The partner hangs: it keeps its address, so its clients talk to it until they give it up.
void Physics::partner_lost(const HappeningSpec& event, unsigned group) {
  const bool terminal = event.what == What::terminal_lost;
  Controller* partner = world_.find(event.controller);
  const std::size_t cause =
      open_cause(event, terminal ? "partner.terminal" : "partner.task-controller", event.controller);
  cut_wire(partner->index(), cause, group, terminal ? "terminal lost" : "task controller lost");
  const SpanNs patience = terminal ? kTerminalGone : kTaskControllerGone;
  const bool given_up = !event.length || *event.length > patience;
  if (given_up) after(patience, [this, &event] { world_.streams.hold_to(event.controller, true); });
  after(event.length, [this, partner, cause, terminal, given_up, &event] {
    const SpanNs boot = event.boot.value_or(partner->spec().boot);
    partner->power_off();
    partner->restore_wire();
    partner->power_on(boot);
    end_cause(cause);
    if (!given_up) return;
    after(boot + kPartnerTrusted, [this, terminal, &event] {
      world_.streams.hold_to(event.controller, false);
      if (!terminal) return;
      for (const auto& controller : world_.controllers) {
        if (controller->operational()) controller->define_working_set();
      }
    });
  });
}

void Physics::speed_source_lost(const HappeningSpec& event) {
  Controller* source = world_.find(event.controller);
  std::vector<Pgn> pgns;
  if (event.pgn != 0) {
    pgns.push_back(event.pgn);
  } else {
    std::copy_if(std::begin(kSpeedPgns), std::end(kSpeedPgns), std::back_inserter(pgns),
                 [&](Pgn pgn) { return sends(source->spec(), pgn); });
  }
  const std::size_t cause = open_cause(event, "source.speed", event.controller);
  world_.truth.cause_hits(cause, source->index());
  const auto make = [this, source, pgns, how = event.how](bool lost) {
    for (const Pgn pgn : pgns) {
      if (how == HappeningSpec::Loss::stops) {
        world_.streams.hold(source->index(), pgn, lost);
      } else {
        const auto content =
            how == HappeningSpec::Loss::frozen ? Streams::Content::frozen : Streams::Content::not_available;
        world_.streams.set_content(source->index(), pgn, lost ? content : Streams::Content::alive);
      }
    }
  };
  make(true);
  after(event.length, [this, make, cause] {
    make(false);
    end_cause(cause);
  });
}

void Physics::dies(const HappeningSpec& event, unsigned group) {
  const std::uint32_t victim = world_.find(event.controller)->index();
  const std::size_t cause = open_cause(event, "unit.lost", event.controller);
  complain_about(victim, std::nullopt);
  cut_power(victim, cause, group, "gone for good");
}

}  // namespace tramlog::stage
