// Who is who on both sides: the same unit, or another unit of the same job.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "compare/facts.hpp"

namespace tramlog {

/// One controller, or one voice without a claim, as it stands on each side.
struct ComparedParty {
  std::optional<std::size_t> before, after;  // indexes into SideFacts::controllers
  std::optional<unsigned> address;           // of a voice that never claimed
  bool replaced = false;                     // another unit of the same job: identity numbers differ
  std::string words;                         // "metering front", "product flow (address 130, 0x82)"
};

struct ComparedParties {
  std::vector<ComparedParty> all;
  std::vector<std::size_t> of_before, of_after;  // controller -> party
};

/// Equal NAMEs first, then equal jobs (Name::same_job) in the order of the reports. Where one side is
/// private, its identity numbers are stand-ins that may be another unit's true ones: equal jobs at the same
/// address first, then equal jobs, and nobody counts as replaced. Voices without a claim are added by
/// party_of().
ComparedParties find_parties(const SideFacts& before, const SideFacts& after);

/// The party of a voice; a new one for an address that never claimed and is not known yet.
std::size_t party_of(ComparedParties& parties, const Voice& voice, bool of_after);

/// "a, b and 3 more".
std::string parties_words(const ComparedParties& parties, const std::vector<std::size_t>& list);

}  // namespace tramlog
