#include "exam/evidence.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"

namespace tramlog {

const std::vector<EvidenceKind>& all_evidence() {
  static const std::vector<EvidenceKind> all = [] {
    std::vector<EvidenceKind> list;
    for (const auto part : {evidence_of_shape(), evidence_of_return(), evidence_of_supply(),
                            evidence_of_wires(), evidence_of_partners()})
      list.insert(list.end(), part.begin(), part.end());
    return list;
  }();
  return all;
}

const EvidenceKind* find_evidence(std::string_view name) {
  const auto& all = all_evidence();
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const EvidenceKind& kind) { return kind.name == name; });
  return found == all.end() ? nullptr : &*found;
}

std::vector<Weighing> weigh_all(const Scene& scene) {
  std::vector<Weighing> weighed;
  for (const EvidenceKind& kind : all_evidence()) weighed.push_back(kind.weigh(scene));
  return weighed;
}

std::string who(const Scene& scene) {
  const Incident& incident = scene.incident;
  if (!incident.controllers.empty()) return controllers_words(scene.all, incident.controllers);
  if (incident.dropouts.empty()) return "somebody";
  const Dropout& first = scene.all.dropouts[incident.dropouts.front()];
  const std::string voice = voice_words(scene.all, first.controller, first.address);
  return incident.parties > 1 ? fmt::format("{} and {} more", voice, incident.parties - 1) : voice;
}

std::string when(const Incident& incident) {
  if (incident.times.empty()) return {};
  std::string text = "at " + mark_words(incident.times.front().start);
  if (incident.times.size() == 2) text += " and at " + mark_words(incident.times[1].start);
  if (incident.times.size() > 2) text += fmt::format(" and {} more times", incident.times.size() - 1);
  return text;
}

}  // namespace tramlog
