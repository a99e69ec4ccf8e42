#include "exam/check_tools.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog {
namespace {

// A key that is turned this soon after a message ended had been on its way.
constexpr SpanNs kKeySlack = 5 * kSecond;
constexpr SpanNs kConsequence = 3 * kSecond;

constexpr Pgn kToTerminal = 0xE700, kToFileServer = 0xAA00;

bool overlaps_loss(const ServerRecord& server, TimeNs from, TimeNs to) {
  return std::any_of(server.losses.begin(), server.losses.end(), [&](const ServerLoss& loss) {
    return loss.last.time <= to && (!loss.back || loss.back->time >= from);
  });
}

const char* kind_words(ServerKind kind) {
  switch (kind) {
    case ServerKind::terminal:
      return "virtual terminal";
    case ServerKind::task_controller:
      return "task controller";
    case ServerKind::file_server:
      break;
  }
  return "file server";
}

const char* client_words(ServerKind kind, std::size_t count) {
  switch (kind) {
    case ServerKind::terminal:
      return count == 1 ? "the working set" : "the working sets";
    case ServerKind::task_controller:
    case ServerKind::file_server:
      break;
  }
  return count == 1 ? "the client" : "the clients";
}

}  // namespace

bool winding_down(const Observations& seen, TimeNs time) {
  for (const BusObservations& bus : seen.buses) {
    bool off = false;
    for (const KeySwitch& key : bus.key_changes)
      if (key.time <= time + kKeySlack) off = !key.on;
    if (off) return true;
  }
  return false;
}

std::optional<std::size_t> controller_at(const Conclusions& all, BusIndex bus, Address address, TimeNs time) {
  for (std::size_t c = 0; c < all.controllers.size(); ++c)
    if (all.controllers[c].bus == bus)
      for (const AddressInterval& held : all.controllers[c].addresses)
        if (held.address == address && held.start <= time && (!held.end || *held.end >= time)) return c;
  return std::nullopt;
}

bool near_dropout(const Conclusions& all, BusIndex bus, Address address, TimeNs from, TimeNs to) {
  const auto near = [&](TimeNs start, TimeNs end) {
    return start - kConsequence <= to && end + kConsequence >= from;
  };
  return std::any_of(all.dropouts.begin(), all.dropouts.end(),
                     [&](const Dropout& d) {
                       return d.bus == bus && d.address == address && near(d.start.time, d.judged_until);
                     }) ||
         std::any_of(all.silences.begin(), all.silences.end(),
                     [&](const BusSilence& s) { return s.bus == bus && near(s.start.time, s.judged_until); });
}

bool is_server_loss(const Observations& seen, const MessageStop& stop) {
  if (stop.destination != kGlobalAddress) return false;
  for (const ServerRecord& server : seen.servers)
    if (server.bus == stop.bus && server.address == stop.source)
      for (const ServerLoss& loss : server.losses)
        if (!loss.whole && loss.last.frame == stop.last.frame) return true;
  return false;
}

const ServerRecord* server_left_by(const Observations& seen, const MessageStop& stop) {
  if (stop.pgn != kToTerminal && stop.pgn != kToFileServer) return nullptr;
  const ServerKind kind = stop.pgn == kToTerminal ? ServerKind::terminal : ServerKind::file_server;
  const SpanNs patience = patience_of(kind, *seen.limits);
  const ServerRecord* left = nullptr;
  for (const ServerRecord& server : seen.servers) {
    if (server.kind != kind || server.bus != stop.bus) continue;
    if (server.address == stop.destination) {
      if (server.last.time < stop.last.time + patience) return nullptr;
      if (overlaps_loss(server, stop.last.time - patience, stop.last.time + patience)) return nullptr;
      left = &server;
    } else {
      // It went over to another one: the operator moved it.
      for (const ServerClient& client : server.clients)
        if (client.address == stop.source && client.last.time > stop.last.time) return nullptr;
    }
  }
  if (stop.resumed && stop.resumed->time - stop.last.time <= patience) return nullptr;
  return left;
}

std::string server_words(const Conclusions& all, const ServerRecord& server) {
  const std::string who = voice_words(all, server.controller, server.address);
  const std::string what = kind_words(server.kind);
  // "The virtual terminal, virtual terminal (address 38, 0x26)" says one thing twice.
  if (who.compare(0, what.size(), what) == 0) return "The " + who;
  return fmt::format("The {}, {},", what, who);
}

void tell_lost_servers(const Conclusions& all, const Observations& seen, ServerKind kind, const char* code,
                       std::vector<Fault>& faults) {
  const SpanNs patience = patience_of(kind, *seen.limits);
  for (const ServerRecord& server : seen.servers) {
    if (server.kind != kind) continue;
    for (const ServerLoss& loss : server.losses) {
      if (winding_down(seen, loss.last.time)) continue;
      std::vector<std::size_t> clients;
      for (const ServerClient& client : server.clients)
        if (client.first <= loss.last.time && loss.last.time - client.last.time <= kMinute)
          add_once(clients, client.controller);
      Fault fault;
      fault.code = code;
      fault.severity = Severity::warning;
      fault.start = loss.last.time;
      if (loss.back) fault.end = loss.back->time;
      add_once(fault.controllers, server.controller);
      fault.bus = server.bus;
      const TimeNs until = loss.back ? loss.back->time : all.end;
      fault.text = fmt::format(
          "{} {} for {}{}: its partners take it for gone after {}.{}", server_words(all, server),
          loss.whole ? "was not heard" : "went on talking, but its status was missing",
          format_span(until - loss.last.time), loss.back ? "" : ", until the capture's end",
          format_span(patience),
          clients.empty() ? std::string()
                          : fmt::format(" It was lost to {} {}.", client_words(kind, clients.size()),
                                        controllers_words(all, clients)));
      for (const std::size_t client : clients) add_once(fault.controllers, client);
      fault.evidence.push_back({loss.last, loss.whole ? "last frame of it" : "last status"});
      if (loss.back) fault.evidence.push_back({*loss.back, "heard again"});
      faults.push_back(std::move(fault));
    }
  }
}

bool tells_low_voltage(const DtcRecord& dtc) {
  const std::uint8_t fmi = dtc.dtc.fmi;
  return dtc.dtc.spn == 168 && !dtc.previously_active_only &&
         (fmi == 1 || fmi == 4 || fmi == 17 || fmi == 18);
}

const Mark* engine_start_near(const Observations& seen, TimeNs time) {
  const SpanNs within = span_of(seen, "supply.cranking_s");
  for (const BusObservations& bus : seen.buses)
    for (const Mark& start : bus.engine_starts)
      if (start.time >= time - within && start.time <= time + within) return &start;
  return nullptr;
}

void add_once(std::vector<std::size_t>& list, std::optional<std::size_t> controller) {
  if (controller && std::find(list.begin(), list.end(), *controller) == list.end())
    list.push_back(*controller);
}

}  // namespace tramlog
