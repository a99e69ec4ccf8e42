#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check malformed_claim;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  if (seen.malformed_claims == 0) return;
  Fault fault;
  fault.code = malformed_claim.code;
  fault.severity = Severity::warning;
  fault.start = all.start;
  fault.end = all.end;
  fault.text = fmt::format("{} of a wrong form came; what they claim is not used.",
                           counted(seen.malformed_claims, "address claim", "address claims"));
  faults.push_back(std::move(fault));
}

}  // namespace

const Check malformed_claim{
    "network.malformed-claim",
    "An address claim of other than 8 bytes, or from address 255: damaged, not used (ISO 11783-5).", judge};

}  // namespace tramlog::checks
