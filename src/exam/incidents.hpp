// Incidents: the troubles of a capture, gathered by what happened together, before anybody asks for a cause.
// One cut connector is one incident, however many lines the checks had to say of it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "exam/observations.hpp"

namespace tramlog {

enum class IncidentKind : std::uint8_t {
  silence,      // controllers fell silent, once or several times
  restarts,     // controllers started again without a gap in their traffic
  bus_silence,  // nothing at all was heard on a bus
  errors,       // errors on the wires, nobody silent at that time
  address,      // two NAMEs want one address, or none is left
  equal_units,  // one NAME from two units
  missing,      // expected, never heard
  software,     // not the software that is expected
  load,         // too much traffic
  partner,   // task controller, terminal or file server missed by its clients, without a silence of its own
  source,    // speed or position lost, without a silence of its sender
  recorder,  // the recorder did not hear
  capture,   // the capture is damaged or incomplete
  alone      // a fault that nothing else belongs to
};
inline constexpr std::size_t kIncidentKinds = 14;
/// Name in dbc/cause-weights.toml, [rank]: "bus-silence".
const char* kind_name(IncidentKind kind);
constexpr unsigned bit_of(IncidentKind kind) {
  return 1u << static_cast<unsigned>(kind);
}

/// One time that it happened.
struct IncidentTime {
  Mark start;         // last frame before
  TimeNs until = 0;   // back, or the capture's end
  SpanNs spread = 0;  // within how long all of them fell silent
  bool returned = true;
};

/// All numbers are indexes into Conclusions.
struct Incident {
  IncidentKind kind = IncidentKind::alone;
  std::optional<BusIndex> bus;
  std::vector<std::size_t> controllers;  // sorted
  unsigned parties = 0;                  // controllers and voices without a claim
  std::vector<IncidentTime> times;       // by start
  std::vector<std::size_t> dropouts;
  std::vector<std::size_t> faults;        // that it consists of
  std::vector<std::size_t> consequences;  // faults that only follow from it
  std::vector<std::size_t>
      complaints;  // trouble codes by which others miss these controllers (fact sheet 10.3)
  std::vector<std::size_t> silences;  // bus_silence: of the bus
  std::vector<std::size_t> bursts;    // error bursts at its moments, of its bus
  std::vector<std::size_t> entries;   // missing, software: of the roll call
  std::string supply;                 // missing: not one of this supply was heard
  bool voltage_told = false;          // gathered because a low voltage was reported before
  TimeNs start = 0;
};

/// By start. Every dropout but power-downs, every bus silence that counts and every fault above a note that
/// is listed in the kinds is in exactly one; faults that speak of a value (trouble codes, the seeding
/// check-list) are in none unless they follow from one, and who was only quiet with a bus that was quiet because
/// others went is in none, either.
std::vector<Incident> gather_incidents(const Conclusions& found, const Observations& seen);

inline constexpr SpanNs kVoltageSinks = 120 * kSecond;  // a sinking voltage takes controllers away one by one
inline constexpr SpanNs kErrorsAtOnce =
    3 * kSecond / 2;  // errors this close to a silence belong to its moment

}  // namespace tramlog
