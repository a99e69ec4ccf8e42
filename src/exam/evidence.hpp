// Evidence: named yes/no/partly facts of one incident. How much each counts for which cause stands in
// dbc/cause-weights.toml and nowhere else.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "exam/incidents.hpp"

namespace tramlog {

/// What an incident is looked at with.
struct Scene {
  const Conclusions& all;
  const Observations& seen;
  const Incident& incident;

  bool one() const { return incident.parties <= 1; }
};

struct Weighing {
  std::optional<double> degree;  // 0: no .. 1: yes; none: cannot be told, weighs nothing
  std::string text;              // one sentence with the measured numbers
};
inline Weighing cannot_be_told() {
  return {std::nullopt, {}};
}
inline Weighing no() {
  return {0.0, {}};
}
inline Weighing yes(std::string text) {
  return {1.0, std::move(text)};
}
inline Weighing to_degree(double degree, std::string text) {
  return {degree < 0 ? 0 : degree > 1 ? 1 : degree, std::move(text)};
}

struct EvidenceKind {
  const char* name;  // as in the table: "returned-with-claim"
  Weighing (*weigh)(const Scene& scene);
};

// One table a file: evidence_<theme>.cpp.
std::span<const EvidenceKind> evidence_of_shape();     // who, how many, how often
std::span<const EvidenceKind> evidence_of_return();    // how it ended
std::span<const EvidenceKind> evidence_of_supply();    // key, engine, voltage, feeds, sides
std::span<const EvidenceKind> evidence_of_wires();     // errors, load
std::span<const EvidenceKind> evidence_of_partners();  // what others say, whose job it was, the recorder

/// All of them, in the order in which reasons are told.
const std::vector<EvidenceKind>& all_evidence();
const EvidenceKind* find_evidence(std::string_view name);

/// Weighed once for an incident, in the order of all_evidence().
std::vector<Weighing> weigh_all(const Scene& scene);

/// "metering front (address 131, 0x83)", or the voices without a claim.
std::string who(const Scene& scene);
/// "at 12:12:30.956 (frame 4532) and 2 more times".
std::string when(const Incident& incident);

}  // namespace tramlog
