#include "exam/findings.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/causes/table.inc"

namespace tramlog {
namespace {

struct Scored {
  const Cause* cause = nullptr;
  double score = 0;
};

double score_of(const CauseWeights::Row& row, const std::vector<Weighing>& weighed) {
  const auto base = row.find("base");
  double score = base == row.end() ? 0 : base->second;
  const auto& kinds = all_evidence();
  for (std::size_t i = 0; i < kinds.size(); ++i) {
    const auto weight = row.find(std::string_view(kinds[i].name));
    if (weight != row.end() && weighed[i].degree) score += weight->second * *weighed[i].degree;
  }
  return score;
}

// What speaks for it and against it, the weightiest first.
void reasons(const CauseWeights::Row& row, const std::vector<Weighing>& weighed, Finding& finding) {
  struct Reason {
    double weight;
    const std::string* text;
  };
  std::vector<Reason> list;
  const auto& kinds = all_evidence();
  for (std::size_t i = 0; i < kinds.size(); ++i) {
    const auto weight = row.find(std::string_view(kinds[i].name));
    if (weight == row.end() || !weighed[i].degree || weighed[i].text.empty()) continue;
    const double counts = weight->second * *weighed[i].degree;
    if (counts != 0) list.push_back({counts, &weighed[i].text});
  }
  std::stable_sort(list.begin(), list.end(),
                   [](const Reason& a, const Reason& b) { return a.weight > b.weight; });
  const auto add = [](std::vector<std::string>& sentences, const std::string& text) {
    if (std::find(sentences.begin(), sentences.end(), text) == sentences.end()) sentences.push_back(text);
  };
  for (const Reason& reason : list)
    if (reason.weight > 0) add(finding.why, *reason.text);
  for (auto reason = list.rbegin(); reason != list.rend(); ++reason)
    if (reason->weight < 0) add(finding.against, *reason->text);
}

Finding begun(const Incident& incident, std::size_t number) {
  Finding finding;
  finding.incident = number;
  finding.start = incident.start;
  finding.dropouts = incident.dropouts;
  finding.faults = incident.faults;
  finding.consequences = incident.consequences;
  finding.controllers = incident.controllers;
  return finding;
}

void count_consequences(const Scene& scene, Finding& finding) {
  if (finding.consequences.empty()) return;
  std::vector<std::string> codes;
  for (const std::size_t f : finding.consequences) {
    const std::string& code = scene.all.faults[f].code;
    if (std::find(codes.begin(), codes.end(), code) == codes.end()) codes.push_back(code);
  }
  constexpr std::size_t kNamed = 3;
  std::string list;
  for (std::size_t i = 0; i < std::min(codes.size(), kNamed); ++i) list += (i > 0 ? ", " : "") + codes[i];
  if (codes.size() > kNamed) list += ", ..";
  finding.why.push_back(fmt::format("{} from it: {}.",
                                    counted(finding.consequences.size(), "line of this report only follows",
                                            "lines of this report only follow"),
                                    list));
}

Finding told(const Cause& cause, double score, const Scene& scene, std::size_t number,
             const std::vector<Weighing>& weighed, const CauseWeights& weights) {
  Finding finding = begun(scene.incident, number);
  finding.cause = cause.code;
  finding.score = score;
  finding.confidence = score >= weights.setting("verdict.certain")  ? Confidence::certain
                       : score >= weights.setting("verdict.likely") ? Confidence::likely
                                                                    : Confidence::possible;
  cause.tell(scene, finding);
  reasons(*weights.row(cause.code), weighed, finding);
  count_consequences(scene, finding);
  return finding;
}

Finding not_known(const Scene& scene, std::size_t number) {
  Finding finding = begun(scene.incident, number);
  finding.cause = kCauseNotKnown;
  finding.confidence = Confidence::possible;
  const Incident& incident = scene.incident;
  const bool errors = incident.kind == IncidentKind::errors;
  if (!incident.dropouts.empty())
    finding.text =
        fmt::format("{} fell silent {}; what was heard does not tell why.", who(scene), when(incident));
  else if (!incident.faults.empty())
    finding.text = fmt::format("The cause is not known: {}", scene.all.faults[incident.faults.front()].text);
  else
    finding.text = "Something went wrong whose cause is not known.";
  if (incident.faults.size() > 1)
    finding.why.push_back(fmt::format("It is told in {} lines of this report.", incident.faults.size()));
  if (errors)
    finding.next_steps = {
        "Do the errors come with a load (PTO, fan, pump, folding)? Then cable route and ground strap of that "
        "load.",
        "Key off: 60 ohms between CAN_H and CAN_L at the diagnostic connector (two terminators of 120 ohms).",
        "Plugs and stubs by hand, one after the other, while the report runs live."};
  else
    finding.next_steps = {
        "Plug, supply and ground of the controllers that are named, key off before unplugging.",
        "Record again, from key-on, until it happens again."};
  count_consequences(scene, finding);
  return finding;
}

double rank_of(const Conclusions& all, const Incident& incident, double score, const CauseWeights& weights) {
  // Whether the bus or only the recorder stopped is not known: no reason to begin there.
  const bool doubtful = !incident.silences.empty() &&
                        std::all_of(incident.silences.begin(), incident.silences.end(), [&](std::size_t s) {
                          return all.silences[s].verdict == BusSilence::Verdict::unknown;
                        });
  double rank = weights.setting(doubtful ? std::string("rank.doubtful-silence")
                                         : fmt::format("rank.{}", kind_name(incident.kind)));
  rank += weights.setting("rank.score_share") * score;
  rank += weights.setting("rank.per_controller") *
          static_cast<double>(std::min<std::size_t>(incident.controllers.size(), 10));
  const bool away = std::any_of(incident.dropouts.begin(), incident.dropouts.end(),
                                [&](std::size_t d) { return !all.dropouts[d].end; });
  return rank + (away ? weights.setting("rank.not_returned") : 0);
}

}  // namespace

std::vector<Finding> find_causes(const Conclusions& all, const Observations& seen,
                                 const CauseWeights& weights) {
  struct Ranked {
    double rank = 0;
    std::vector<Finding> findings;
  };
  std::vector<Ranked> ranked;
  const std::vector<Incident> incidents = gather_incidents(all, seen);
  for (std::size_t n = 0; n < incidents.size(); ++n) {
    const Scene scene{all, seen, incidents[n]};
    const std::vector<Weighing> weighed = weigh_all(scene);
    std::vector<Scored> scored;
    for (const Cause* cause : causes::kAll) {
      const CauseWeights::Row* row = weights.row(cause->code);
      if ((cause->explains & bit_of(incidents[n].kind)) == 0 || row == nullptr) continue;
      if (const double score = score_of(*row, weighed); score >= weights.setting("verdict.possible"))
        scored.push_back({cause, score});
    }
    std::stable_sort(scored.begin(), scored.end(),
                     [](const Scored& a, const Scored& b) { return a.score > b.score; });
    Ranked entry;
    if (scored.empty()) {
      entry.findings.push_back(not_known(scene, n));
    } else {
      const bool both =
          scored.size() > 1 && scored[0].score - scored[1].score <= weights.setting("verdict.margin");
      for (std::size_t i = 0; i < (both ? 2u : 1u); ++i) {
        entry.findings.push_back(told(*scored[i].cause, scored[i].score, scene, n, weighed, weights));
        if (both) {
          const std::string_view how = weights.tell_apart(scored[0].cause->code, scored[1].cause->code);
          entry.findings.back().tell_apart =
              how.empty()
                  ? std::string(
                        "What was heard does not decide between these two; follow the next steps of both.")
                  : std::string(how);
        }
      }
    }
    entry.rank = rank_of(all, incidents[n], entry.findings.front().score, weights);
    ranked.push_back(std::move(entry));
  }
  std::stable_sort(ranked.begin(), ranked.end(),
                   [](const Ranked& a, const Ranked& b) { return a.rank > b.rank; });
  std::vector<Finding> findings;
  for (Ranked& entry : ranked)
    for (Finding& finding : entry.findings) findings.push_back(std::move(finding));
  return findings;
}

}  // namespace tramlog
