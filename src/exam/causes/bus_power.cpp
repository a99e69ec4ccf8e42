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
  finding.text =
      unknown
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
  finding.next_steps = {"The recorder's own plug at the diagnostic connector.",
                        "Supply of the bus: key position, main fuse, main ground.",
                        "Bus wires for a short, power off: unplug one segment after the other.",
                        "Bus termination at both ends."};
}

}  // namespace

const Cause bus_power{"bus.power-or-trunk", bit_of(IncidentKind::bus_silence), tell};

}  // namespace tramlog::causes
