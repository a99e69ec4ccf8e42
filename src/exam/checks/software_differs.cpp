#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check software_differs;

namespace {

std::string joined(const std::vector<std::string>& texts) {
  std::string all;
  for (const std::string& text : texts) all += (all.empty() ? "" : ", ") + std::string(trimmed(text));
  return all;
}

/// Same job from the same maker, whatever the instances; not if they call themselves different parts.
bool equals(const ControllerRecord& a, const ControllerRecord& b) {
  const Name& x = a.name;
  const Name& y = b.name;
  if (x == y || x.industry_group() != y.industry_group() || x.device_class() != y.device_class() ||
      x.function() != y.function() || x.manufacturer_code() != y.manufacturer_code())
    return false;
  const bool parts_told = a.ecu && b.ecu && !a.ecu->part_number.empty() && !b.ecu->part_number.empty();
  if (parts_told && a.ecu->part_number != b.ecu->part_number) return false;
  const bool types_told = a.ecu && b.ecu && !a.ecu->type.empty() && !b.ecu->type.empty();
  if (types_told && a.ecu->type != b.ecu->type) return false;
  const bool codes_told = a.product && b.product && !a.product->code.empty() && !b.product->code.empty();
  return !codes_told || a.product->code == b.product->code;
}

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  std::vector<bool> told(all.controllers.size(), false);
  for (std::size_t i = 0; i < all.controllers.size(); ++i) {
    const ControllerRecord& first = all.controllers[i];
    if (told[i] || first.software.empty()) continue;
    std::vector<std::size_t> kin{i};
    bool differ = false;
    for (std::size_t j = i + 1; j < all.controllers.size(); ++j) {
      const ControllerRecord& other = all.controllers[j];
      if (told[j] || other.software.empty() || !equals(first, other)) continue;
      kin.push_back(j);
      differ = differ || joined(other.software) != joined(first.software);
    }
    if (!differ) continue;
    Fault fault;
    fault.code = software_differs.code;
    fault.severity = Severity::warning;
    fault.controllers = kin;
    std::string texts;
    for (const std::size_t k : kin) {
      told[k] = true;
      const ControllerRecord& one = all.controllers[k];
      texts += fmt::format("{}{} has \"{}\"", texts.empty() ? "" : ", ", controller_words(all, k),
                           joined(one.software));
      const Mark at = one.software_reported.value_or(one.first_seen);
      // Known from the last of these texts on: before it they may have been equal.
      fault.start = std::max(fault.start, at.time);
      fault.end = fault.start;
      fault.evidence.push_back({at, "software of " + controller_words(all, k)});
    }
    fault.bus = first.bus;
    fault.text = fmt::format("Equal units of one maker ({}) run different software: {}.",
                             function_term(first.name), texts);
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check software_differs{"software.differs-among-equals",
                             "Controllers of the same function, device class and maker report different "
                             "software texts (ISO 11783-12); "
                             "units that call themselves different parts are not compared.",
                             judge};

}  // namespace tramlog::checks
