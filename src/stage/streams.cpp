#include "stage/streams.hpp"

#include <algorithm>

#include "base/bytes.hpp"
#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

constexpr std::uint8_t kHeartbeatFirst = 251;
constexpr std::uint8_t kHeartbeatMost = 250;

}  // namespace

void Streams::add(std::uint32_t controller, const MessageSpec& spec, std::uint64_t seed) {
  Stream stream;
  stream.controller = controller;
  stream.spec = &spec;
  stream.random = Random(seed);
  stream.payload = std::make_unique<Payload>(spec.payload, seed ^ 0x5DEECE66Du);
  stream.period = spec.period;
  stream.frame.len = static_cast<std::uint8_t>(std::min<std::size_t>(spec.payload.base.size(), 8));
  streams_.push_back(std::move(stream));
}

void Streams::add_stranger(std::size_t stranger, std::uint64_t seed) {
  const StrangerSpec& spec = world_.scenario.strangers[stranger];
  Stream stream;
  stream.stranger = stranger;
  stream.own_spec = std::make_unique<MessageSpec>();
  stream.own_spec->payload = spec.payload;
  stream.own_spec->from = spec.from;
  stream.own_spec->until = spec.until;
  stream.spec = stream.own_spec.get();
  stream.random = Random(seed);
  stream.payload = std::make_unique<Payload>(stream.own_spec->payload, seed ^ 0x5DEECE66Du);
  stream.period = spec.period;
  stream.frame.id = spec.id;
  stream.frame.extended = !spec.standard;
  stream.frame.remote = spec.remote;
  stream.frame.fd = spec.fd;
  stream.frame.bit_rate_switch = spec.bit_rate_switch;
  stream.frame.len = static_cast<std::uint8_t>(spec.remote ? spec.length : spec.payload.base.size());
  streams_.push_back(std::move(stream));
  schedule(static_cast<std::uint32_t>(streams_.size() - 1), true);
}

bool Streams::address_frame(Stream& stream) {
  const Controller& controller = *world_.controllers[stream.controller];
  Address destination = kGlobalAddress;
  if (!stream.spec->to.empty()) {
    const Controller* target = world_.find(stream.spec->to);
    if (!target->has_address()) return false;
    destination = target->address();
  }
  stream.frame.id = identifier(stream.spec->priority, stream.spec->pgn, controller.address(), destination);
  return true;
}

void Streams::start(std::uint32_t controller) {
  for (std::uint32_t i = 0; i < streams_.size(); ++i) {
    if (streams_[i].controller == controller) start_one(i);
  }
}

void Streams::start_one(std::uint32_t index) {
  Stream& stream = streams_[index];
  ++stream.generation;
  stream.payload->restart();
  stream.heartbeat = kHeartbeatFirst;
  stream.burst_left = 0;
  address_frame(stream);
  const auto when = stream.spec->when;
  const bool waits =
      when == MessageSpec::When::on_request || (when == MessageSpec::When::heartbeat && !stream.spec->phase);
  if (!waits) schedule(index, true);
}

void Streams::hold_to(const std::string& label, bool held) {
  for (Stream& stream : streams_) {
    if (stream.controller != kNobody && stream.spec->to == label) stream.held = held;
  }
}

void Streams::set_pace(std::uint32_t controller, Pgn pgn, std::optional<SpanNs> period) {
  for (std::uint32_t i = 0; i < streams_.size(); ++i) {
    Stream& stream = streams_[i];
    if (stream.controller != controller || stream.spec->pgn != pgn) continue;
    stream.period = period.value_or(stream.spec->period);
    stream.hurried = period.has_value();
    if (!world_.controllers[controller]->operational()) continue;
    ++stream.generation;
    stream.base = world_.now() + stream.period;
    world_.agenda.stream_at(stream.base, i, stream.generation);
  }
}

void Streams::add_now(std::uint32_t controller, MessageSpec spec, std::uint64_t seed) {
  auto own = std::make_unique<MessageSpec>(std::move(spec));
  add(controller, *own, seed);
  streams_.back().own_spec = std::move(own);
  if (world_.controllers[controller]->operational())
    start_one(static_cast<std::uint32_t>(streams_.size() - 1));
}

void Streams::set_content(std::uint32_t controller, Pgn pgn, Content content) {
  for (Stream& stream : streams_) {
    if (stream.controller == controller && stream.spec->pgn == pgn) stream.content = content;
  }
}

void Streams::stop(std::uint32_t controller) {
  for (Stream& stream : streams_) {
    if (stream.controller == controller) ++stream.generation;
  }
}

void Streams::hold(std::uint32_t controller, Pgn pgn, bool held) {
  for (Stream& stream : streams_) {
    if (stream.controller == controller && (pgn == 0 || stream.spec->pgn == pgn)) stream.held = held;
  }
}

void Streams::start_heartbeat(std::uint32_t controller, SpanNs period) {
  for (std::uint32_t i = 0; i < streams_.size(); ++i) {
    Stream& stream = streams_[i];
    if (stream.controller != controller || stream.spec->when != MessageSpec::When::heartbeat) continue;
    ++stream.generation;
    stream.period = period;
    stream.base = world_.now() + period;
    stream.heartbeat = kHeartbeatFirst;
    world_.agenda.stream_at(stream.base, i, stream.generation);
  }
}

void Streams::restart_heartbeat(std::uint32_t controller) {
  for (Stream& stream : streams_) {
    if (stream.controller == controller) stream.heartbeat = kHeartbeatFirst;
  }
}

bool Streams::send_once(std::uint32_t controller, Pgn pgn) {
  for (std::uint32_t i = 0; i < streams_.size(); ++i) {
    Stream& stream = streams_[i];
    if (stream.controller != controller || stream.spec->pgn != pgn || stream.held) continue;
    address_frame(stream);
    emit(i);
    return true;
  }
  return false;
}

void Streams::schedule(std::uint32_t index, bool first) {
  Stream& stream = streams_[index];
  const MessageSpec& spec = *stream.spec;
  const TimeNs now = world_.now();
  TimeNs at = now;
  switch (spec.when) {
    case MessageSpec::When::cyclic:
    case MessageSpec::When::heartbeat:
      if (first) {
        const SpanNs phase = spec.phase ? *spec.phase : stream.random.between(0, stream.period - 1);
        stream.base = std::max(now, spec.from) + phase;
      } else {
        stream.base += stream.period;
      }
      at = stream.base;
      if (stream.period > 2 * spec.jitter) at += stream.random.between(-spec.jitter, spec.jitter);
      break;
    case MessageSpec::When::on_change:
      at = std::max(now, spec.from) + std::max(spec.minimum_gap, stream.random.waiting(stream.period));
      break;
    case MessageSpec::When::burst:
      if (stream.burst_left > 0) {
        at = now + spec.burst_spacing;
      } else {
        stream.burst_left = spec.burst_count;
        at = std::max(now, spec.from) + stream.random.between(stream.period * 4 / 5, stream.period * 6 / 5);
        if (first && spec.phase) at = std::max(now, spec.from) + *spec.phase;
      }
      break;
    case MessageSpec::When::on_request:
      return;
  }
  if (spec.until && at > *spec.until) return;
  world_.agenda.stream_at(at, index, stream.generation);
}

void Streams::due(std::uint32_t index, std::uint32_t generation) {
  Stream& stream = streams_[index];
  if (stream.generation != generation) return;
  const bool rests = stream.held || (stream.controller != kNobody &&
                                     world_.controllers[stream.controller]->resting(world_.now()));
  if (stream.spec->when == MessageSpec::When::burst && stream.burst_left > 0) --stream.burst_left;
  if (!rests) emit(index);
  schedule(index, false);
}

void Streams::emit(std::uint32_t index) {
  Stream& stream = streams_[index];
  if (stream.controller == kNobody) {
    if (!stream.frame.remote) {
      const auto& bytes = stream.payload->next(world_.machine, world_.now());
      std::copy(bytes.begin(), bytes.end(), stream.frame.data);
    }
    const std::size_t bus = world_.scenario.strangers[stream.stranger].bus;
    world_.send(kNobody, bus, stream.frame, [this, stranger = stream.stranger](const Sent& sent) {
      if (sent.recorded) world_.truth.stranger_heard(stranger, sent.stamp);
    });
    return;
  }
  const std::size_t bus = world_.controllers[stream.controller]->spec().bus;
  if (stream.spec->when == MessageSpec::When::heartbeat) {
    stream.frame.data[0] = static_cast<std::uint8_t>(stream.heartbeat);
    stream.heartbeat = stream.heartbeat >= kHeartbeatMost ? 0 : stream.heartbeat + 1;
    return world_.send(stream.controller, bus, stream.frame);
  }
  // One place to wait for each message: on a crowded bus the next one finds it taken.
  if (stream.waiting) {
    stream.overdue = stream.hurried;
    return;
  }
  const auto& bytes = content(stream);
  if (!stream.spec->to.empty() && !address_frame(stream)) return;
  if (stream.spec->fast_packet) return emit_fast_packet(index, bytes);
  std::copy(bytes.begin(), bytes.end(), stream.frame.data);
  stream.waiting = true;
  world_.send(stream.controller, bus, stream.frame, [this, index](const Sent& sent) {
    Stream& s = streams_[index];
    s.waiting = false;
    if (sent.sent && s.overdue && s.hurried) emit(index);
    s.overdue = false;
  });
}

const std::vector<std::uint8_t>& Streams::content(Stream& stream) {
  if (stream.content == Content::frozen) return stream.payload->last();
  // Each measures the voltage of its own supply.
  MachineState here = world_.machine;
  here.voltage = world_.physics.voltage_of(stream.controller);
  const auto& bytes = stream.payload->next(here, world_.now());
  if (stream.payload->tells_wheel_speed() && !here.drive.active)
    world_.machine.drive.follow_wheels(load_le16(bytes.data()), load_le32(bytes.data() + 2));
  if (stream.content == Content::alive) return bytes;
  return stream.payload->not_available();
}

void Streams::emit_fast_packet(std::uint32_t index, const std::vector<std::uint8_t>& bytes) {
  Stream& stream = streams_[index];
  if (stream.frames_left > 0) return;  // the one before has not left yet
  const std::size_t bus = world_.controllers[stream.controller]->spec().bus;
  const auto total = static_cast<std::uint32_t>(1 + (bytes.size() - 6 + 6) / 7);
  stream.frames_left = total;
  stream.unheard = stream.broken = false;
  std::size_t from = 0;
  for (std::uint32_t k = 0; k < total; ++k) {
    WireFrame frame = stream.frame;
    frame.len = 8;
    std::fill_n(frame.data, 8, std::uint8_t{0xFF});
    frame.data[0] = static_cast<std::uint8_t>(stream.sequence << 5 | k);
    std::size_t at = 1;
    if (k == 0) frame.data[at++] = static_cast<std::uint8_t>(bytes.size());
    while (at < 8 && from < bytes.size()) frame.data[at++] = bytes[from++];
    world_.send(stream.controller, bus, frame, [this, index](const Sent& sent) {
      Stream& s = streams_[index];
      s.broken |= !sent.sent;
      s.unheard |= !sent.recorded;
      if (--s.frames_left > 0 || s.broken) return;
      world_.truth.count_transfer(Carrier::fast_packet, s.unheard ? Outcome::unseen : Outcome::complete);
    });
  }
  stream.sequence = (stream.sequence + 1) & 7;
}

}  // namespace tramlog::stage
