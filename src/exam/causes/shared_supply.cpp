#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause shared_supply;

namespace {

// Controllers that went and came together with a restart, or went and stayed away: what they share is their
// power.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller)) {
    if (event.controllers.size() < 2 || event.none_reclaimed != !event.all_reclaimed) continue;
    if (event.all_returned && event.none_reclaimed) continue;  // without a restart: rather the wire
    std::set<std::string> supplies;
    bool each_known = true;
    unsigned implement = 0;
    for (const std::size_t c : event.controllers) {
      const std::string supply = supply_of(all, c);
      each_known = each_known && !supply.empty();
      supplies.insert(supply);
      implement += side_of(all, c).implement;
    }
    const auto others = unaffected(all, event);
    unsigned implement_unaffected = 0;
    unsigned supply_unaffected = 0;
    for (const std::size_t c : others) {
      implement_unaffected += side_of(all, c).implement;
      supply_unaffected += each_known && supplies.size() == 1 && supply_of(all, c) == *supplies.begin();
    }
    const bool one_supply = each_known && supplies.size() == 1;
    const bool whole_implement = implement == event.controllers.size() && implement >= 3 &&
                                 implement_unaffected == 0 && !others.empty();
    // All of the implement at once, from several feeds: that is the connector or the cranking, told
    // elsewhere.
    if (whole_implement && supplies.size() > 1) continue;
    if (!one_supply && whole_implement) continue;

    Finding finding;
    finding.cause = shared_supply.code;
    finding.confidence = one_supply && supply_unaffected == 0 ? Confidence::likely : Confidence::possible;
    finding.weight = 80 + static_cast<unsigned>(event.controllers.size());
    finding.dropouts = event.dropouts;
    finding.start = event.start.time;
    const std::string who = controllers_words(all, event.controllers);
    finding.text = one_supply
                       ? fmt::format("The supply \"{}\" failed: {} dropped out together {}.",
                                     *supplies.begin(), who, times_words(event))
                       : fmt::format("A supply or ground that {} share failed {}.", who, times_words(event));
    finding.why.push_back(fmt::format("{} fell silent within {} of each other.",
                                      counted(event.controllers.size(), "controller", "controllers"),
                                      format_span(event.spread)));
    if (event.all_reclaimed)
      finding.why.push_back(
          "Each came back with a new address claim: each had lost its power or had been reset.");
    else if (!event.all_returned)
      finding.why.push_back("They did not come back before the capture ended.");
    if (one_supply)
      finding.why.push_back(
          supply_unaffected == 0
              ? fmt::format("The roster puts them all on the supply \"{}\".", *supplies.begin())
              : fmt::format("The roster puts them on the supply \"{}\", but {} on it went on.",
                            *supplies.begin(), counted(supply_unaffected, "controller", "controllers")));
    if (!others.empty())
      finding.why.push_back(fmt::format("{} went on talking: {}.",
                                        counted(others.size(), "controller", "controllers"),
                                        controllers_words(all, others)));
    finding.next_steps = {one_supply
                              ? fmt::format("Fuse, relay and plug of the supply \"{}\".", *supplies.begin())
                              : std::string("Fuse, relay and plug of the feed that these controllers share."),
                          "Voltage of that feed at one of these controllers under load, against its ground.",
                          "Ground point that they share: tight, clean, dry.",
                          "Move the harness by hand from the feed on while the roll call runs."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause shared_supply{"supply.shared", propose};

}  // namespace tramlog::causes
