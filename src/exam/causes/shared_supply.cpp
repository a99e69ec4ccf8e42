#include <fmt/format.h>

#include <set>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause shared_supply;

namespace {

void tell(const Scene& scene, Finding& finding) {
  std::set<std::string> supplies;
  for (const std::size_t c : scene.incident.controllers) supplies.insert(supply_of(scene.all, c));
  const bool one = supplies.size() == 1 && !supplies.begin()->empty();
  finding.text =
      one ? fmt::format("The supply \"{}\" failed: {} dropped out together {}.", *supplies.begin(),
                        who(scene), when(scene.incident))
          : fmt::format("A supply or ground that {} share failed {}.", who(scene), when(scene.incident));
  finding.next_steps = {one ? fmt::format("Fuse, relay and plug of the supply \"{}\".", *supplies.begin())
                            : std::string("Fuse, relay and plug of the feed that these controllers share."),
                        "Voltage of that feed at one of these controllers under load, against its ground.",
                        "Ground point that they share: tight, clean, dry.",
                        "Move the harness by hand from the feed on while the roll call runs."};
}

}  // namespace

const Cause shared_supply{"supply.shared", bit_of(IncidentKind::silence), tell};

}  // namespace tramlog::causes
