#include "stage/world.hpp"

#include "stage/random.hpp"
#include "stage/wiring.hpp"

namespace tramlog::stage {
namespace {

constexpr std::uint8_t kPfClaim = 0xEE, kPfRequest = 0xEA, kPfRepetitionRate = 0xCC;
constexpr TimeNs kForEver = INT64_MAX / 4;
constexpr std::uint32_t kClassBusError = 0x88;
constexpr unsigned kErrorStep = 8, kBusOffAbove = 255;

std::uint64_t name_in(const WireFrame& frame) {
  std::uint64_t name = 0;
  for (int i = 7; i >= 0; --i) name = name << 8 | frame.data[i];
  return name;
}

Pgn pgn_in(const WireFrame& frame) {
  return Pgn{frame.data[0]} | Pgn{frame.data[1]} << 8 | Pgn{frame.data[2]} << 16;
}

}  // namespace

std::uint32_t identifier(unsigned priority, Pgn pgn, Address source, Address destination) {
  const bool addressed = (pgn >> 8 & 0xFF) < 0xF0;
  const std::uint32_t specific = addressed ? (pgn & 0x3FF00) | destination : pgn & 0x3FFFF;
  return priority << 26 | specific << 8 | source;
}

World::World(const Scenario& plan, CaptureWriter& writer, Recorder::NextRun next_run)
    : scenario(plan),
      recorder(writer, plan, std::move(next_run)),
      truth(plan),
      desk(*this),
      streams(*this),
      timeline(*this),
      physics(*this),
      nerves_(plan.controllers.size()),
      noise_(seed_for(plan.seed, "noise")) {
  for (std::size_t i = 0; i < plan.buses.size(); ++i) {
    buses.push_back(std::make_unique<Bus>(
        agenda, static_cast<std::uint32_t>(i), plan.buses[i].bitrate,
        Bus::Callbacks{
            [this](const Passenger& passenger) { return valid(passenger); },
            [this, i](Passenger& passenger) { done(i, passenger); },
            [this, i](const Passenger&, unsigned bits) { return hit(i, bits); },
            [this, i](const Passenger& passenger, unsigned bit) { return spoiled(i, passenger, bit); }}));
  }
  for (std::size_t i = 0; i < plan.controllers.size(); ++i) {
    const auto index = static_cast<std::uint32_t>(i);
    const ControllerSpec& spec = plan.controllers[i];
    controllers.push_back(std::make_unique<Controller>(*this, index, spec));
    for (std::size_t k = 0; k < spec.messages.size(); ++k) {
      streams.add(index, spec.messages[k], seed_for(plan.seed, spec.label, k + 1));
    }
  }
  for (std::size_t i = 0; i < plan.implements.size(); ++i) {
    implements.push_back(std::make_unique<Implement>(*this, plan.implements[i],
                                                     seed_for(plan.seed, plan.implements[i].client, i)));
  }
}

Controller* World::find(std::string_view label) {
  for (const auto& controller : controllers) {
    if (controller->spec().label == label) return controller.get();
  }
  return nullptr;
}

Controller* World::holder(std::size_t bus, Address address) {
  for (const auto& controller : controllers) {
    if (controller->spec().bus == bus && controller->has_address() && controller->address() == address) {
      return controller.get();
    }
  }
  return nullptr;
}

bool World::valid(const Passenger& passenger) const {
  if (passenger.sender == kNobody) return true;
  const Controller& controller = *controllers[passenger.sender];
  return controller.epoch() == passenger.epoch && controller.can_send() && !bus_off(passenger.sender);
}

std::optional<unsigned> World::hit(std::size_t bus, unsigned bits) {
  const double noise = physics.noise(bus);
  if (noise <= 0) return std::nullopt;
  const double chance = error_chance(noise, bits);
  const double draw = static_cast<double>(noise_.next() >> 11) * 0x1p-53;
  if (draw >= chance) return std::nullopt;
  return static_cast<unsigned>(noise_.below(bits));
}

// Fact sheet 9.3: 8 up for each error of a sender, beyond 255 it is off the bus.
bool World::spoiled(std::size_t bus, const Passenger& passenger, unsigned bit) {
  const WireError error = wire_error(bit, passenger.frame.len, noise_.next());
  recorder.error_frame(bus, now(), kClassBusError, {0, 0, error.type, error.place});
  if (passenger.sender == kNobody) return true;
  Nerves& nerves = nerves_[passenger.sender];
  nerves.errors += kErrorStep;
  if (nerves.errors <= kBusOffAbove) return true;
  nerves.errors = 0;
  nerves.off_until = now() + noise_.between(200, 900) * kMillisecond;
  return false;
}

void World::send(std::uint32_t sender, std::size_t bus, const WireFrame& frame, Hook hook) {
  Passenger passenger;
  passenger.frame = frame;
  passenger.sender = sender;
  passenger.hook = std::move(hook);
  if (sender != kNobody) {
    passenger.epoch = controllers[sender]->epoch();
    if (!controllers[sender]->can_send() || bus_off(sender)) {
      if (passenger.hook) agenda.call_at(now(), [lost = std::move(passenger.hook)] { lost(Sent{}); });
      return;
    }
  }
  buses[bus]->send(std::move(passenger));
}

void World::done(std::size_t bus, Passenger& passenger) {
  const WireFrame& frame = passenger.frame;
  if (passenger.sender != kNobody && nerves_[passenger.sender].errors > 0) --nerves_[passenger.sender].errors;
  const bool recorded = recorder.hear(bus, now(), frame);
  const TimeNs stamp = recorder.stamp(now());
  if (passenger.sender != kNobody && recorded) {
    const auto source = static_cast<Address>(frame.id);
    const bool claim = (frame.id >> 16 & 0xFF) == kPfClaim;
    if (source < kNullAddress || claim) truth.heard(passenger.sender, source, passenger.begin, stamp, claim);
  }
  deliver(bus, passenger);
  if (passenger.hook) passenger.hook({true, recorded, stamp});
}

void World::deliver(std::size_t bus, const Passenger& passenger) {
  const WireFrame& frame = passenger.frame;
  if (!frame.extended || frame.remote || frame.fd) return;
  const auto format = static_cast<std::uint8_t>(frame.id >> 16);
  const auto source = static_cast<Address>(frame.id);
  const auto destination = static_cast<Address>(frame.id >> 8);
  if (passenger.sender == kNobody) {
    if (Controller* owner = holder(bus, source)) owner->hear_violation();
  }
  if (format != kPfClaim && format != kPfRequest && format != kPfRepetitionRate) return;
  bool first_claim = false;
  if (format == kPfClaim && passenger.sender != kNobody) {
    first_claim = controllers[passenger.sender]->state() == Controller::State::claiming;
  }
  for (const auto& controller : controllers) {
    if (controller->spec().bus != bus || controller->index() == passenger.sender || !controller->hears())
      continue;
    if (format == kPfClaim && frame.len == 8) {
      controller->hear_claim(passenger.sender, source, name_in(frame), first_claim);
    } else if (format == kPfRequest && frame.len >= 3) {
      controller->hear_request(source, destination, pgn_in(frame));
    } else if (format == kPfRepetitionRate && frame.len >= 5) {
      controller->hear_rate_request(source, destination, pgn_in(frame), frame.data[3] | frame.data[4] << 8);
    }
  }
}

void World::statistics(std::size_t bus, std::int64_t second) {
  recorder.statistics(bus, now());
  agenda.call_at((second + 1) * kSecond, [this, bus, second] { statistics(bus, second + 1); });
}

void World::play(std::optional<std::uint64_t> frames) {
  recorder.begin(now());
  for (std::size_t bus = 0; bus < buses.size(); ++bus) {
    if (scenario.buses[bus].statistics) agenda.call_at(0, [this, bus] { statistics(bus, 0); });
  }
  for (const auto& controller : controllers) {
    const ControllerSpec& spec = controller->spec();
    if (spec.absent) continue;
    Controller* one = controller.get();
    if (spec.already_running) {
      for (const auto& other : controllers) {
        if (other->spec().already_running && other->spec().bus == spec.bus && !other->spec().absent) {
          controller->knows(other->spec().address, other->spec().name);
        }
      }
      agenda.call_at(0, [one] { one->run_already(); });
    } else {
      agenda.call_at(spec.power_on, [one, &spec] { one->power_on(spec.boot); });
    }
    for (const TransferSpec& transfer : spec.transfers) {
      if (!transfer.every) {
        agenda.call_at(transfer.at, [one, &transfer] { one->start_transfer(transfer); });
        continue;
      }
      auto again = std::make_shared<std::function<void()>>();
      *again = [this, one, &transfer, weak = std::weak_ptr(again)] {
        one->start_transfer(transfer);
        if (auto self = weak.lock()) agenda.call_at(now() + *transfer.every, [self] { (*self)(); });
      };
      agenda.call_at(transfer.at, [again] { (*again)(); });
    }
  }
  for (std::size_t i = 0; i < scenario.strangers.size(); ++i) {
    streams.add_stranger(i, seed_for(scenario.seed, scenario.strangers[i].label, i));
  }
  for (const auto& implement : implements) implement->schedule();
  physics.schedule();
  timeline.schedule();
  const TimeNs end = frames ? kForEver : scenario.duration;
  while (!frames || recorder.frames() < *frames) {
    const auto entry = agenda.next(end);
    if (!entry) break;
    switch (entry->kind) {
      case Agenda::Kind::stream:
        streams.due(entry->index, entry->generation);
        break;
      case Agenda::Kind::bus:
        buses[entry->index]->step();
        break;
      case Agenda::Kind::call:
        agenda.take_call(entry->index)();
        break;
    }
  }
  for (const auto& implement : implements) truth.implement(implement->truth());
  desk.end();
  recorder.end(frames ? now() : end);
}

}  // namespace tramlog::stage
