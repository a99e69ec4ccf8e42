#include "implement/implement_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "implement/activity_log.hpp"
#include "implement/dialogue.hpp"
#include "implement/machine/table.inc"
#include "implement/pool_desk.hpp"
#include "implement/watch.hpp"
#include "implement/watches/table.inc"
#include "isobus/acknowledgement.hpp"
#include "isobus/working_set.hpp"

namespace tramlog {
namespace {

// NAME functions (fact sheet, process data, 2.4).
constexpr unsigned kTaskControllerFunction = 130, kDataLoggerFunction = 139;

std::size_t topic_rank(const std::string& topic) {
  const auto found = std::find(std::begin(kTopics), std::end(kTopics), topic);
  return static_cast<std::size_t>(found - std::begin(kTopics));
}

void sort_by_topic(std::vector<CheckLine>& lines) {
  std::stable_sort(lines.begin(), lines.end(), [](const CheckLine& a, const CheckLine& b) {
    return topic_rank(a.topic) < topic_rank(b.topic);
  });
}

/// "Not shown" once, and only if no bus shows it: the tractor's own bus beside the implement bus has no drill.
void drop_repeated_absence(std::vector<CheckLine>& lines) {
  std::vector<CheckLine> kept;
  for (CheckLine& line : lines) {
    const auto elsewhere = [&](const CheckLine& other) {
      return other.code == line.code && other.verdict != Verdict::not_shown;
    };
    const auto same = [&](const CheckLine& other) { return other.code == line.code; };
    if (line.verdict == Verdict::not_shown &&
        (std::any_of(lines.begin(), lines.end(), elsewhere) || std::any_of(kept.begin(), kept.end(), same)))
      continue;
    kept.push_back(line);
  }
  lines = std::move(kept);
}

Mark mark_of(const Message& message) {
  return {message.start, message.first_frame};
}

}  // namespace

struct ImplementWatch::Unit {
  Unit(const Schema& schema, const SeedingLimits& limits, const MachineState& machine, const KnownPools& pools)
      : device(schema, limits, machine), desk(device, pools) {
    for (const DeviceWatchKind* kind : watches::kAll) parts.push_back(kind->make(device));
  }
  Device device;
  PoolDesk desk;
  std::vector<std::unique_ptr<Dialogue>> links;
  std::vector<Peer> servers;  // of links
  std::vector<std::unique_ptr<DeviceWatch>> parts;
  std::size_t pool_seen = 0;  // desk.changes() that the watches know of
  bool worked = false;
  unsigned losses = 0;  // of all links, as the watches know

  Dialogue* link_to(Peer server) {
    for (std::size_t i = 0; i < servers.size(); ++i)
      if (server.controller != kNobody ? servers[i].controller == server.controller
                                       : servers[i].address == server.address)
        return links[i].get();
    // A task controller that talked before its address claim was heard.
    for (std::size_t i = 0; i < servers.size(); ++i)
      if (servers[i].controller == kNobody && servers[i].address == server.address) {
        servers[i].controller = server.controller;
        return links[i].get();
      }
    return nullptr;
  }
  void tell_pool_changes() {
    if (pool_seen == desk.changes()) return;
    pool_seen = desk.changes();
    for (auto& part : parts) part->on_pool();
  }
};

struct ImplementWatch::Bus {
  BusIndex index = 0;
  MachineState machine;
  std::optional<MachineContext> context;  // emplaced once the bus stands on the heap: the watches keep its address
  std::vector<std::unique_ptr<MachineWatch>> parts;
  struct Server {
    Peer peer;
    std::optional<TaskControllerStatus> status;
  };
  std::vector<Server> servers;                             // whoever sent a status, at most 32
  std::array<std::optional<Mark>, 256> working_set_master;  // announced last, by address
  std::vector<Unit*> units;
  bool deaf_told = false;
  ActivityLog activity;

  std::optional<bool> any_work_on() const {
    std::optional<bool> any;
    for (const Unit* unit : units)
      if (const auto on = unit->device.any_section_on() ? unit->device.any_section_on() : unit->device.work_state())
        any = any.value_or(false) || (*on && unit->device.work_state().value_or(true));
    return any;
  }
  bool any_works() const {
    return std::any_of(units.begin(), units.end(),
                       [](const Unit* unit) { return unit->device.working().value_or(false); });
  }
};

ImplementWatch::ImplementWatch(const Schema& schema, const Network& network, ImplementOptions options)
    : schema_(schema),
      network_(network),
      options_(std::move(options)),
      working_mm_s_(options_.limits["speed.working_mm_s"]) {}
ImplementWatch::~ImplementWatch() = default;

bool ImplementWatch::wants(Pgn pgn) {
  if (pgn == kPgnProcessData || pgn == kPgnAcknowledgement || pgn == kPgnWorkingSetMaster ||
      MachineState::wants(pgn))
    return true;
  return std::any_of(std::begin(machine::kAll), std::end(machine::kAll),
                     [pgn](const MachineWatchKind* kind) { return kind->wants(pgn); });
}

ImplementWatch::Bus& ImplementWatch::bus_of(BusIndex index) {
  while (buses_.size() <= index) {
    auto bus = std::make_unique<Bus>();
    bus->index = static_cast<BusIndex>(buses_.size());
    bus->context.emplace(MachineContext{
        schema_, options_.limits, bus->machine, bus->index,
        [](const void* self) { return static_cast<const Bus*>(self)->any_work_on(); }, bus.get()});
    for (const MachineWatchKind* kind : machine::kAll) bus->parts.push_back(kind->make(*bus->context));
    buses_.push_back(std::move(bus));
  }
  return *buses_[index];
}

ImplementWatch::Peer ImplementWatch::peer(BusIndex bus, Address address) const {
  return {network_.owner(bus, address), address};
}

bool ImplementWatch::is_server(const Bus& bus, Peer who) const {
  if (who.controller != kNobody) {
    const unsigned function = network_.controllers()[static_cast<std::size_t>(who.controller)].name.function();
    if (function == kTaskControllerFunction || function == kDataLoggerFunction) return true;
  }
  return std::any_of(bus.servers.begin(), bus.servers.end(), [&](const Bus::Server& server) {
    return server.peer.controller == kNobody || who.controller == kNobody
               ? server.peer.address == who.address
               : server.peer.controller == who.controller;
  });
}

ImplementWatch::Unit* ImplementWatch::unit_of(BusIndex index, Peer client, bool make, Mark at) {
  Bus& bus = bus_of(index);
  for (Unit* unit : bus.units)
    if (client.controller != kNobody ? unit->device.client == client.controller
                                     : unit->device.address == client.address) {
      unit->device.address = client.address;
      return unit;
    }
  // Heard before its address claim was: the same unit.
  if (client.controller != kNobody)
    for (Unit* unit : bus.units)
      if (unit->device.client == kNobody && unit->device.address == client.address) {
        unit->device.client = client.controller;
        return unit;
      }
  if (!make || client.address >= kNullAddress) return nullptr;
  if (units_.size() >= kMaxDevices) {
    ++units_not_kept_;
    return nullptr;
  }
  units_.push_back(std::make_unique<Unit>(schema_, options_.limits, bus.machine, options_.pools));
  Unit* unit = units_.back().get();
  unit->device.bus = index;
  unit->device.client = client.controller;
  unit->device.address = client.address;
  unit->device.now = at.time;
  unit->device.pictured = units_.size() <= kMaxPictured;
  bus.units.push_back(unit);
  return unit;
}

void ImplementWatch::take(const Message& message) {
  if (message.bus >= kMaxBuses) return;
  Bus& bus = bus_of(message.bus);
  now_ = std::max(now_, message.end);
  if (MachineState::wants(message.pgn) && bus.machine.take(message)) {
    for (Unit* unit : bus.units) {
      unit->device.now = message.start;
      for (auto& part : unit->parts) part->on_speed(mark_of(message));
    }
    note_activity(bus, message.start);
  }
  switch (message.pgn) {
    case kPgnProcessData:
      take_process_data(bus, message);
      break;
    case kPgnAcknowledgement:
      take_nack(bus, message);
      break;
    case kPgnWorkingSetMaster:
      bus.working_set_master[message.source] = mark_of(message);
      if (Unit* unit = unit_of(message.bus, peer(message.bus, message.source), false, mark_of(message)))
        for (auto& link : unit->links) link->on_working_set_master(mark_of(message));
      break;
    default:
      break;
  }
  // After the devices, so that the machine's watches see what they have become.
  for (std::size_t i = 0; i < bus.parts.size(); ++i)
    if (message.pgn == kPgnProcessData || MachineState::wants(message.pgn) ||
        machine::kAll[i]->wants(message.pgn))
      bus.parts[i]->on_message(message);
}

void ImplementWatch::note_activity(Bus& bus, TimeNs now) {
  if (!bus.activity.wants(now)) return;
  const double speed = bus.machine.speed_mm_s(now).value_or(0);
  const bool drives = speed >= working_mm_s_;
  bus.activity.look(now, speed, drives, drives && bus.any_works());
}

void ImplementWatch::set_task(Unit& unit, bool active, Mark at) {
  const bool changed = unit.device.task_told && *unit.device.task_told != active;
  unit.device.task_told = active;
  unit.device.task_active = active;
  if (!changed) return;
  for (auto& part : unit.parts) part->on_task(active, at);
}

void ImplementWatch::take_status(Bus& bus, const Message& message) {
  const auto status = parse_task_controller_status(message.data);
  if (!status) return;
  const Peer server = peer(message.bus, message.source);
  const Mark at = mark_of(message);
  auto known = std::find_if(bus.servers.begin(), bus.servers.end(), [&](const Bus::Server& one) {
    return server.controller != kNobody && one.peer.controller != kNobody
               ? one.peer.controller == server.controller
               : one.peer.address == server.address;
  });
  if (known == bus.servers.end()) {
    if (bus.servers.size() >= 32) return;
    known = bus.servers.insert(bus.servers.end(), Bus::Server{server, std::nullopt});
  }
  known->peer = server;
  known->status = *status;
  for (Unit* unit : bus.units) {
    Dialogue* link = unit->link_to(server);
    if (link == nullptr) continue;
    unit->device.now = message.start;
    link->on_status(*status, at);
    if (!link->data_logger()) set_task(*unit, status->task_active, at);
  }
}

void ImplementWatch::take_process_data(Bus& bus, const Message& message) {
  if (message.data.empty()) return;
  const auto command = static_cast<ProcessCommand>(message.data[0] & 0x0F);
  if (command == ProcessCommand::status) return take_status(bus, message);
  const Peer from = peer(message.bus, message.source), to = peer(message.bus, message.destination);
  const Mark at = mark_of(message);
  // Who of the two is the task controller: what only one side says, else whoever is known as one.
  bool from_client = true;
  if (command == ProcessCommand::client_task) {
    from_client = true;
  } else if (command == ProcessCommand::device_descriptor) {
    from_client = (message.data[0] >> 4 & 1) == 0;
  } else if (is_measurement(command)) {
    from_client = false;
  } else if (is_server(bus, from) && !is_server(bus, to)) {
    from_client = false;
  } else if (!is_server(bus, to)) {
    return;  // neither is known as a task controller: two implements, or a guess
  }
  const Peer client = from_client ? from : to, server = from_client ? to : from;
  if (message.destination == kGlobalAddress) return;  // version and identification requests to everybody
  Unit* unit = unit_of(message.bus, client, true, at);
  if (unit == nullptr || server.address >= kNullAddress) return;
  unit->device.now = message.start;
  Dialogue* link = unit->link_to(server);
  if (link == nullptr) {
    if (unit->links.size() >= kMaxLinks) return;
    const bool logger =
        server.controller != kNobody &&
        network_.controllers()[static_cast<std::size_t>(server.controller)].name.function() == kDataLoggerFunction;
    unit->links.push_back(
        std::make_unique<Dialogue>(unit->device, unit->desk, server.controller, server.address, logger));
    unit->servers.push_back(server);
    link = unit->links.back().get();
    if (bus.working_set_master[client.address])
      link->on_working_set_master(*bus.working_set_master[client.address]);
    for (const Bus::Server& one : bus.servers)
      if (one.status && one.peer.address == server.address && !logger)
        set_task(*unit, one.status->task_active, at);
  }
  if (unit->device.client != kNobody)
    unit->desk.set_claimed(network_.controllers()[static_cast<std::size_t>(unit->device.client)].name);
  if (command == ProcessCommand::value || command == ProcessCommand::set_and_acknowledge)
    take_variable(*unit, message, from_client);
  link->on_message(message, from_client);
  unit->tell_pool_changes();
  if (command != ProcessCommand::value && command != ProcessCommand::set_and_acknowledge) return;
  const auto told = parse_process_message(message.data);
  if (!told) return;
  const ProcessValue value{told->variable, signed_raw(schema_, told->variable.ddi, told->raw), at, from_client,
                           command == ProcessCommand::set_and_acknowledge};
  unit->worked = unit->worked || unit->device.work_state().value_or(false) || unit->device.any_section_on().value_or(false);
  for (auto& part : unit->parts) part->on_value(value);
}

void ImplementWatch::take_variable(Unit& unit, const Message& message, bool from_client) {
  const auto told = parse_process_message(message.data);
  if (!told) return;
  unit.device.values.take({told->variable, signed_raw(schema_, told->variable.ddi, told->raw), mark_of(message),
                           from_client, told->command == ProcessCommand::set_and_acknowledge});
}

void ImplementWatch::take_nack(Bus& bus, const Message& message) {
  const auto answer = parse_acknowledgement(message.data);
  if (!answer || answer->pgn != kPgnProcessData || answer->kind == AcknowledgementKind::positive) return;
  const Address to = answer->acknowledged.value_or(message.destination);
  for (Unit* unit : bus.units)
    for (std::size_t i = 0; i < unit->links.size(); ++i) {
      const Address server = unit->servers[i].address, client = unit->device.address;
      if (message.source == server && to == client)
        unit->links[i]->on_nack(mark_of(message), true, answer->control);
      else if (message.source == client && to == server)
        unit->links[i]->on_nack(mark_of(message), false, answer->control);
    }
}

void ImplementWatch::take_failed_transfer(const TransferEnd& end) {
  if (end.pgn != kPgnProcessData || end.bus >= buses_.size()) return;
  for (Unit* unit : buses_[end.bus]->units)
    for (std::size_t i = 0; i < unit->links.size(); ++i) {
      const Address server = unit->servers[i].address, client = unit->device.address;
      if (end.source == client && end.destination == server)
        unit->links[i]->on_transfer_failed(end, true);
      else if (end.source == server && end.destination == client)
        unit->links[i]->on_transfer_failed(end, false);
    }
}

void ImplementWatch::take_start(ControllerId controller, Mark at) {
  const ControlFunction& who = network_.controllers()[static_cast<std::size_t>(controller)];
  if (who.bus >= buses_.size()) return;
  for (Unit* unit : buses_[who.bus]->units) {
    const bool is_client = unit->device.client == controller;
    bool concerned = is_client;
    if (is_client) unit->device.address = who.address;
    for (std::size_t i = 0; i < unit->links.size(); ++i) {
      const bool is_its_server = unit->servers[i].controller == controller;
      if (is_its_server) unit->servers[i].address = who.address;
      if (is_client || is_its_server) unit->links[i]->on_restart(at, is_client);
      concerned = concerned || is_its_server;
    }
    if (concerned)
      for (auto& part : unit->parts) part->on_break(at);
  }
}

void ImplementWatch::take_blindness(BusIndex bus, TimeNs from, TimeNs to) {
  if (bus >= buses_.size()) return;
  for (Unit* unit : buses_[bus]->units) {
    for (auto& link : unit->links) link->on_blind(from, to);
    for (auto& part : unit->parts) part->on_blind();
  }
  for (auto& part : buses_[bus]->parts) part->on_blind();
  buses_[bus]->activity.blind();
}

void ImplementWatch::take_clock_step() {
  for (std::size_t bus = 0; bus < buses_.size(); ++bus) take_blindness(static_cast<BusIndex>(bus), now_, now_);
}

void ImplementWatch::advance(TimeNs now) {
  now_ = now;
  for (auto& unit : units_) {
    unit->device.now = now;
    unsigned losses = 0;
    for (auto& link : unit->links) {
      link->on_time(now);
      losses += link->losses();
    }
    if (losses != unit->losses)
      for (auto& part : unit->parts) part->on_break({now, 0});
    unit->losses = losses;
    for (auto& part : unit->parts) part->on_time(now);
  }
  for (auto& bus : buses_)
    for (auto& part : bus->parts) part->on_time(now);
}

void ImplementWatch::take_pool_before_cut(Name client, std::vector<std::uint8_t> bytes, Mark at) {
  if (pools_taken_ >= kMaxDevices) return;
  ++pools_taken_;
  KnownPool pool;
  pool.name = client;
  pool.bytes = std::move(bytes);
  pool.words = fmt::format("uploaded before this slice, which begins {}", format_time_of_day(at.time));
  pool.source = PoolSource::before_cut;
  for (auto& unit : units_) {
    const ControllerId of = unit->device.client;
    if (of == kNobody || network_.controllers()[static_cast<std::size_t>(of)].name != client) continue;
    unit->desk.take_before_cut(pool, at);
    unit->tell_pool_changes();
  }
  options_.pools.push_back(std::move(pool));
}

std::vector<ImplementWatch::ToldPool> ImplementWatch::told_pools() const {
  std::vector<ToldPool> told;
  for (const auto& unit : units_) {
    const PoolSource source = unit->desk.source();
    if ((source != PoolSource::uploaded && source != PoolSource::before_cut) || !unit->desk.dependable()) continue;
    if (unit->device.client == kNobody) continue;
    const ControlFunction& client = network_.controllers()[static_cast<std::size_t>(unit->device.client)];
    told.push_back({unit->device.bus, client.address, client.name, &unit->desk.bytes()});
  }
  return told;
}

SeedingRecord ImplementWatch::conclude(TimeNs end) {
  SeedingRecord all;
  all.implements_not_kept = units_not_kept_;
  for (auto& unit : units_) {
    unit->device.now = end;
    ImplementRecord record;
    record.bus = unit->device.bus;
    record.client = unit->device.client;
    record.address = unit->device.address;
    record.worked = unit->worked;
    unit->desk.conclude(record);
    unit->tell_pool_changes();
    for (auto& link : unit->links) {
      record.links.push_back(link->conclude(end, record.lines));
      record.links.back().bus = record.bus;
    }
    for (auto& part : unit->parts) part->conclude(end, record);
    record.values_not_kept = unit->device.values.not_kept();
    record.task_running = unit->device.task_told;
    for (const auto& [variable, entry] : unit->device.values.all()) {
      if (!entry.told && !entry.set) continue;
      LastValue value;
      value.variable = variable;
      value.by_device = entry.told.has_value();
      value.raw = entry.told ? entry.told->raw : entry.set->raw;
      value.at = entry.told ? entry.told->at : entry.set->at;
      if (entry.set) {
        value.set_raw = entry.set->raw;
        value.set_at = entry.set->at;
      }
      value.count = entry.count;
      value.least_raw = entry.least;
      value.greatest_raw = entry.greatest;
      record.values.push_back(value);
    }
    sort_by_topic(record.lines);
    all.implements.push_back(std::move(record));
  }
  std::stable_sort(all.implements.begin(), all.implements.end(),
                   [](const ImplementRecord& a, const ImplementRecord& b) { return a.bus < b.bus; });
  for (auto& bus : buses_) {
    for (auto& part : bus->parts) part->conclude(end, all.lines);
    if (!bus->activity.empty()) all.activities.push_back(bus->activity.conclude(bus->index));
  }
  drop_repeated_absence(all.lines);
  sort_by_topic(all.lines);
  return all;
}

}  // namespace tramlog
