#include "stage/timeline.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

using What = HappeningSpec::What;

constexpr std::uint8_t kHeartbeatStops = 255;
constexpr SpanNs kStopHold = 5 * kSecond;    // a stop broadcast is repeated, else traffic resumes
constexpr SpanNs kKeyOffHold = 2 * kSecond;  // supply after key off
constexpr SpanNs kKeyOffSpacing = 230 * kMillisecond;
constexpr Pgn kStopBroadcast = 0xDF00, kCommandedAddress = 0xFED8, kHeartbeat = 0xF0E4;

bool is_tractor_ecu(const ControllerSpec& spec) {
  return std::any_of(spec.messages.begin(), spec.messages.end(), [](const MessageSpec& message) {
    return message.payload.builder == Builder::wheel_speed;
  });
}

const std::string& or_else(const std::string& text, const std::string& otherwise) {
  return text.empty() ? otherwise : text;
}

}  // namespace

void Timeline::schedule() {
  unsigned group = 0;
  for (const HappeningSpec& event : world_.scenario.happenings) {
    world_.agenda.call_at(event.at, [this, &event, number = ++group] { happen(event, number); });
  }
}

std::vector<Controller*> Timeline::supplied(const HappeningSpec& event) {
  std::vector<Controller*> found;
  for (const auto& controller : world_.controllers) {
    const ControllerSpec& spec = controller->spec();
    if (spec.absent || (event.bus && spec.bus != *event.bus)) continue;
    if (!event.supply.empty() && spec.supply != event.supply) continue;
    if (!event.side.empty() && spec.side != event.side) continue;
    found.push_back(controller.get());
  }
  return found;
}

std::vector<std::size_t> Timeline::buses(const HappeningSpec& event) {
  if (event.bus) return {*event.bus};
  std::vector<std::size_t> all(world_.buses.size());
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = i;
  return all;
}

void Timeline::switch_off(Controller& controller, const std::string& cause, unsigned group, Silence kind) {
  if (!controller.powered()) return;
  controller.power_off();
  world_.truth.begin_silence(controller.index(), world_.now(), kind, cause, group);
}

void Timeline::happen(const HappeningSpec& event, unsigned group) {
  if (world_.physics.happen(event, group)) return;
  const auto afterwards = [&](auto call) {
    if (event.length) world_.agenda.call_at(world_.now() + *event.length, std::move(call));
  };
  switch (event.what) {
    case What::supply_off:
      for (Controller* controller : supplied(event)) {
        switch_off(*controller, or_else(event.cause, "supply off"), group, Silence::controller);
      }
      afterwards([this, &event] {
        for (Controller* c : supplied(event)) c->power_on(event.boot.value_or(c->spec().boot));
      });
      break;
    case What::supply_on:
      for (Controller* c : supplied(event)) c->power_on(event.boot.value_or(c->spec().boot));
      break;
    case What::bus_dead:
      kill_bus(event, group);
      afterwards([this, &event] { revive_bus(event); });
      break;
    case What::bus_alive:
      revive_bus(event);
      break;
    case What::key_off:
    case What::operator_power_down:
      key_off(event, group);
      afterwards([this] { key_on(); });
      break;
    case What::key_on:
      key_on();
      break;
    case What::error_frames:
      error_frames(event);
      break;
    case What::claim_request: {
      Controller* from = world_.find(event.from);
      if (from != nullptr) return from->send_request_for_claims();
      WireFrame frame;
      frame.id = identifier(6, 0xEA00, kNullAddress, kGlobalAddress);
      frame.len = 3;
      frame.data[1] = 0xEE;
      for (const std::size_t bus : buses(event)) world_.send(kNobody, bus, frame);
      break;
    }
    case What::stop_broadcast:
      if (Controller* from = world_.find(event.from)) stop_broadcast(event, *from);
      break;
    case What::logger_deaf:
    case What::logger_stopped:
    case What::link_down:
    case What::link_paused:
    case What::bus_off:
    case What::clock_step:
    case What::logger_cut:
      happen_to_logger(event);
      break;
    default:
      happen_to_one(event, group);
      break;
  }
}

void Timeline::happen_to_one(const HappeningSpec& event, unsigned group) {
  Controller* target = world_.find(event.controller);
  if (target == nullptr) return;
  const auto afterwards = [&](auto call) {
    if (event.length) world_.agenda.call_at(world_.now() + *event.length, std::move(call));
  };
  const SpanNs boot = event.boot.value_or(target->spec().boot);
  switch (event.what) {
    case What::controller_off:
      switch_off(*target, or_else(event.cause, "power off"), group, Silence::controller);
      afterwards([target, boot] { target->power_on(boot); });
      break;
    case What::controller_on:
      target->power_on(boot);
      break;
    case What::mute:
      target->set_muted(true);
      world_.truth.begin_silence(target->index(), world_.now(), Silence::controller,
                                 or_else(event.cause, "CAN wire open"), group);
      afterwards([target] { target->set_muted(false); });
      break;
    case What::unmute:
      target->set_muted(false);
      break;
    case What::dtc_set:
      target->set_dtc(event.spn, event.fmi);
      afterwards([target, &event] { target->clear_dtc(event.spn, event.fmi); });
      break;
    case What::dtc_clear:
      target->clear_dtc(event.spn, event.fmi);
      break;
    case What::commanded_address:
      commanded_address(event, *target);
      break;
    case What::heartbeat_stop:
      heartbeat_stop(event, *target);
      break;
    case What::software_update:
      switch_off(*target, or_else(event.cause, "software update"), group, Silence::controller);
      afterwards([target, &event, boot] {
        target->set_software(event.software);
        target->power_on(boot);
      });
      break;
    case What::stream_stop:
      world_.streams.hold(target->index(), event.pgn, true);
      afterwards([this, target, &event] { world_.streams.hold(target->index(), event.pgn, false); });
      break;
    case What::stream_start:
      world_.streams.hold(target->index(), event.pgn, false);
      break;
    default:
      break;
  }
}

void Timeline::happen_to_logger(const HappeningSpec& event) {
  Recorder& recorder = world_.recorder;
  if (event.what == What::clock_step) return recorder.step_clock(world_.now(), event.step);
  const std::size_t cause = world_.physics.open_cause(event, "recorder.blind");
  world_.agenda.call_at(world_.now() + *event.length, [this, cause] { world_.physics.end_cause(cause); });
  if (event.what == What::logger_cut) {
    recorder.set_cut(world_.now(), true);
    world_.agenda.call_at(world_.now() + *event.length,
                          [this] { world_.recorder.set_cut(world_.now(), false); });
    return;
  }
  if (event.what == What::logger_stopped) {
    recorder.set_stopped(world_.now(), true);
    world_.agenda.call_at(world_.now() + *event.length,
                          [this] { world_.recorder.set_stopped(world_.now(), false); });
    return;
  }
  Recorder::Ear ear = Recorder::Ear::bus_off;
  if (event.what == What::logger_deaf) {
    ear = event.interface_counter ? Recorder::Ear::deaf_interface : Recorder::Ear::deaf_system;
  } else if (event.what == What::link_down) {
    ear = Recorder::Ear::link_down;
  } else if (event.what == What::link_paused) {
    ear = Recorder::Ear::link_paused;
  }
  for (const std::size_t bus : buses(event)) {
    recorder.set_ear(bus, world_.now(), ear);
    world_.agenda.call_at(world_.now() + *event.length,
                          [this, bus] { world_.recorder.set_ear(bus, world_.now(), Recorder::Ear::open); });
  }
}

void Timeline::kill_bus(const HappeningSpec& event, unsigned group) {
  for (const std::size_t bus : buses(event)) {
    HappeningSpec here = event;
    here.bus = bus;
    const std::size_t cause = world_.physics.open_cause(here, "bus.power-or-trunk");
    if (event.length)
      world_.agenda.call_at(world_.now() + *event.length, [this, cause] { world_.physics.end_cause(cause); });
    world_.buses[bus]->set_dead(true);
    for (const auto& controller : world_.controllers) {
      if (controller->spec().bus != bus || !controller->can_send()) continue;
      world_.truth.cause_hits(cause, controller->index());
      world_.truth.begin_silence(controller->index(), world_.now(), Silence::bus_silent,
                                 or_else(event.cause, "bus dead"), group);
    }
  }
}

void Timeline::revive_bus(const HappeningSpec& event) {
  for (const std::size_t bus : buses(event)) {
    world_.buses[bus]->set_dead(false);
    if (!event.reclaim) continue;
    for (const auto& controller : world_.controllers) {
      if (controller->spec().bus != bus || !controller->powered()) continue;
      controller->power_off();
      controller->power_on(event.boot.value_or(controller->spec().boot));
    }
  }
}

void Timeline::key_off(const HappeningSpec& event, unsigned group) {
  world_.machine.key_on = false;
  world_.machine.power_minutes = 1;
  world_.agenda.call_at(world_.now() + kKeyOffHold / 2, [this] {
    if (!world_.machine.key_on) world_.machine.power_minutes = 0;
  });
  std::vector<Controller*> order;
  for (const auto& controller : world_.controllers) {
    if (controller->powered()) order.push_back(controller.get());
  }
  std::stable_partition(order.begin(), order.end(),
                        [](const Controller* c) { return !is_tractor_ecu(c->spec()); });
  const std::size_t cause = world_.physics.open_cause(event, "operator.power-down");
  if (event.length)
    world_.agenda.call_at(world_.now() + *event.length, [this, cause] { world_.physics.end_cause(cause); });
  for (const Controller* controller : order) world_.truth.cause_hits(cause, controller->index());
  SpanNs delay = kKeyOffHold;
  for (Controller* controller : order) {
    if (is_tractor_ecu(controller->spec())) delay += kSecond;
    controller->later(delay - 50 * kMillisecond, [controller, this] {
      const auto& messages = controller->spec().messages;
      const bool beats = std::any_of(messages.begin(), messages.end(), [](const MessageSpec& message) {
        return message.when == MessageSpec::When::heartbeat;
      });
      if (!beats || !controller->operational()) return;
      world_.streams.hold(controller->index(), kHeartbeat, true);
      controller->send_message(3, kHeartbeat, kGlobalAddress, {kHeartbeatStops});
    });
    controller->later(delay, [this, controller, &event, group] {
      switch_off(*controller, or_else(event.cause, "key off"), group, Silence::power_down);
      world_.streams.hold(controller->index(), kHeartbeat, false);
      switched_by_key_.push_back(controller);
    });
    delay += kKeyOffSpacing;
  }
}

void Timeline::key_on() {
  world_.machine.key_on = true;
  world_.machine.power_minutes = 3;
  for (Controller* controller : switched_by_key_) controller->power_on(controller->spec().boot);
  switched_by_key_.clear();
}

void Timeline::error_frames(const HappeningSpec& event) {
  const SpanNs spacing = event.length ? *event.length / event.count : 2 * kMillisecond;
  for (const std::size_t bus : buses(event)) {
    for (unsigned i = 0; i < event.count; ++i) {
      world_.agenda.call_at(world_.now() + i * spacing, [this, bus, &event] {
        world_.recorder.error_frame(bus, world_.now(), event.error_class, event.data);
      });
    }
  }
}

// DM13 (fact sheet 7.6): B1 current data link, networks 1..: 00 stop; repeated while it shall last.
void Timeline::stop_broadcast(const HappeningSpec& event, Controller& from) {
  const TimeNs until = world_.now() + *event.length;
  for (SpanNs at = 0; at < *event.length; at += kStopHold) {
    from.later(at, [&from] {
      from.send_message(6, kStopBroadcast, kGlobalAddress, {0x3F, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    });
  }
  for (const auto& controller : world_.controllers) {
    if (controller.get() == &from || controller->spec().bus != from.spec().bus || !controller->hears())
      continue;
    controller->rest_until(until);
    world_.truth.intended_silence(controller->index(), world_.recorder.stamp(world_.now()),
                                  world_.recorder.stamp(until), "stop broadcast");
  }
}

void Timeline::heartbeat_stop(const HappeningSpec& event, Controller& controller) {
  if (!controller.operational()) return;
  const TimeNs until = world_.now() + *event.length;
  controller.send_message(3, kHeartbeat, kGlobalAddress, {kHeartbeatStops});
  controller.rest_until(until);
  world_.streams.restart_heartbeat(controller.index());
  world_.truth.intended_silence(controller.index(), world_.recorder.stamp(world_.now()),
                                world_.recorder.stamp(until), "heartbeat 255");
}

void Timeline::commanded_address(const HappeningSpec& event, Controller& target) {
  Controller* from = world_.find(event.from);
  if (from == nullptr) return;
  std::vector<std::uint8_t> payload = claim_bytes(target.spec().name);
  payload.push_back(event.address);
  TransferSpec transfer;
  transfer.carrier = Carrier::bam;
  transfer.pgn = kCommandedAddress;
  world_.desk.start(from->index(), kNobody, transfer, std::move(payload),
                    [&target, &event](Outcome outcome, TimeNs) {
                      if (outcome == Outcome::complete || outcome == Outcome::unseen)
                        target.take_address(event.address);
                    });
}

}  // namespace tramlog::stage
