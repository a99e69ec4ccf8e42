#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause bus_power;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const std::string& name = scene.all.buses[*scene.incident.bus].name;
  const bool unknown =
      scene.all.silences[scene.incident.silences.front()].verdict == BusSilence::Verdict::unknown;
  // What had lost its power says so when it is back; then the recorder's tap was not at fault.
  std::size_t returned = 0, claimed = 0;
  for (const std::size_t d : scene.incident.dropouts) {
    returned += scene.all.dropouts[d].end.has_value();
    claimed += scene.all.dropouts[d].end && scene.all.dropouts[d].reclaimed;
  }
  const bool power = !unknown && returned > 1 && claimed * 10 >= returned * 9;
  finding.text =
      power ? fmt::format("The power of all of {} failed, or a short in its wires stopped it.", name)
      : unknown
          ? fmt::format(
                "All of {} was silent; whether the bus or the recorder stopped, the capture cannot tell.",
                name)
          : fmt::format(
                "All of {} stopped: power of the whole bus, a short in its wires, or the recorder's own tap.",
                name);
  constexpr std::size_t kNamed = 4;
  std::string list;
  const auto& times = scene.incident.times;
  for (std::size_t i = 0; i < std::min(times.size(), kNamed); ++i)
    list += fmt::format("{}for {} from {}", i > 0 ? ", " : "",
                        format_span(times[i].until - times[i].start.time), mark_words(times[i].start));
  if (times.size() > kNamed) list += fmt::format(" and {} more times", times.size() - kNamed);
  finding.why.push_back(fmt::format("Not one frame came {}.", list));
  finding.next_steps = {"Supply of the bus: key position, main fuse, main ground.",
                        "Bus wires for a short, power off: unplug one segment after the other.",
                        "Bus termination at both ends."};
  if (!power)
    finding.next_steps.insert(finding.next_steps.begin(), "The recorder's own plug at the diagnostic connector.");
}

}  // namespace

const Cause bus_power{"bus.power-or-trunk", bit_of(IncidentKind::bus_silence), tell};

}  // namespace tramlog::causes
