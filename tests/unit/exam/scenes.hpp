// Conclusions made by hand for evidence, incidents and findings: no bus, no examiner.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <string>

#include "exam/evidence.hpp"
#include "exam/findings.hpp"

namespace tramlog {

struct HandMade {
  static constexpr TimeNs kStart = 1'775'542'320 * kSecond;
  Conclusions all;
  Observations seen;

  HandMade() {
    all.start = kStart;
    all.end = at(600);
    all.frames = 100'000;
    BusSummary bus;
    bus.name = "can0";
    bus.frames = 100'000;
    bus.has_statistics = true;
    all.buses.push_back(bus);
    seen.buses.emplace_back();
    for (unsigned i = 0; i < 6; ++i) add_controller(i);
  }
  static TimeNs at(double seconds) { return kStart + static_cast<SpanNs>(seconds * 1e9); }
  static Mark mark(double seconds) { return {at(seconds), static_cast<std::uint64_t>(seconds * 100) + 1}; }

  /// Number 0 and 1: tractor (class 0) and terminal; the others units of one implement (class 4), addresses
  /// 128 and up.
  void add_controller(unsigned i) {
    const unsigned device_class = i < 2 ? 0 : 4;
    const unsigned function = i == 0 ? 134 : i == 1 ? 29 : 128;
    ControllerRecord c;
    c.name = Name(1ull << 63 | 2ull << 60 | std::uint64_t{device_class} << 49 |
                  std::uint64_t{function} << 40 | std::uint64_t{i} << 35 | 1000ull << 21 | i);
    c.address = static_cast<Address>(i < 2 ? 0xF0 + i : 126 + i);
    c.first_seen = mark(0.1);
    c.last_seen = mark(599);
    c.rhythms = 2;
    all.controllers.push_back(c);
  }
  /// Silent from `from` to `to` (0: until the end).
  Dropout& drop(std::size_t controller, double from, double to, bool reclaimed,
                std::optional<unsigned> group = std::nullopt) {
    Dropout d;
    d.controller = controller;
    d.address = all.controllers[controller].address;
    d.start = mark(from);
    if (to > 0) d.end = mark(to);
    d.judged_until = to > 0 ? at(to) : all.end;
    d.reclaimed = reclaimed;
    d.group = group;
    d.fastest_period = kSecond / 10;
    all.dropouts.push_back(d);
    return all.dropouts.back();
  }
  Fault& fault(const std::string& code, double from, std::vector<std::size_t> controllers = {},
               Severity severity = Severity::warning) {
    Fault f;
    f.code = code;
    f.severity = severity;
    f.start = at(from);
    f.end = at(from);
    f.controllers = std::move(controllers);
    f.bus = BusIndex{0};
    f.text = code + " was seen.";
    f.evidence.push_back({mark(from), "here"});
    all.faults.push_back(f);
    return all.faults.back();
  }
  DtcRecord& dtc(std::size_t controller, std::uint32_t spn, std::uint8_t fmi, double from) {
    DtcRecord d;
    d.controller = controller;
    d.address = all.controllers[controller].address;
    d.dtc.spn = spn;
    d.dtc.fmi = fmi;
    d.first_active = d.last_active = mark(from);
    all.dtcs.push_back(d);
    fault("diagnostics.trouble-code", from, {controller}).dtc = all.dtcs.size() - 1;
    return all.dtcs.back();
  }
  void errors(double from, double to) {
    ErrorBurst burst;
    burst.first = mark(from);
    burst.last = mark(to);
    burst.frames = 12;
    burst.classes = 0x8;  // protocol violation
    burst.protocol_bits = 0x04;
    seen.buses[0].bursts.push_back(burst);
    all.buses[0].error_frames += 12;
    fault("bus.error-frames", from).end = at(to);
  }
  /// The controllers of the roster: all on this supply and side.
  void on_supply(std::size_t controller, const std::string& supply, const std::string& side = "implement") {
    if (!all.rollcall) all.rollcall.emplace();
    RollcallEntry entry;
    entry.label = "unit " + std::to_string(controller);
    entry.state = EntryState::present;
    entry.controller = controller;
    entry.supply = supply;
    entry.side = side;
    all.rollcall->entries.push_back(entry);
    all.controllers[controller].label = entry.label;
  }

  std::vector<Incident> incidents() const { return gather_incidents(all, seen); }
  std::vector<Finding> findings() const { return find_causes(all, seen, CauseWeights::built_in()); }
  /// Of the first incident in which somebody fell silent; -1: cannot be told.
  double degree(const char* name) const {
    const auto list = incidents();
    const auto silence =
        std::find_if(list.begin(), list.end(), [](const Incident& i) { return !i.dropouts.empty(); });
    REQUIRE(silence != list.end());
    const EvidenceKind* kind = find_evidence(name);
    REQUIRE(kind != nullptr);
    return kind->weigh(Scene{all, seen, *silence}).degree.value_or(-1);
  }
};

}  // namespace tramlog
