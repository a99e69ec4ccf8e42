// Lines about the description: refused, broken, more than the task controller serves.
#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "implement/dialogue_lines.hpp"
#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kPrescriptionState = 158, kSectionControlState = 160;
constexpr std::uint8_t kPositionBased = 0x04, kSectionControl = 0x10;  // options (2.1)

std::string sentence(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

struct Counts {
  std::size_t booms = 0, sections = 0, channels = 0;
};

/// As 2.1 counts them: elements with DDI 160, sections, elements with DDI 158.
Counts counts_of(const DevicePool& pool) {
  Counts counts;
  for (const ElementObject& element : pool.elements) {
    counts.booms += pool.variable({element.number, kSectionControlState}) != nullptr ? 1 : 0;
    counts.channels += pool.variable({element.number, kPrescriptionState}) != nullptr ? 1 : 0;
    counts.sections += element.type == static_cast<std::uint8_t>(ElementType::section) ? 1 : 0;
  }
  return counts;
}

}  // namespace

void DialogueLines::pool_refused() {
  constexpr const char* kCode = "device.pool-refused";
  constexpr const char* kMeans =
      " Without an active description the implement cannot be told rates and sections.";
  const auto& active_at = of_.activated_at_;
  const auto& refused = of_.refused_pools_;
  if (refused.count > 0) {
    const bool recovered = active_at && active_at->time > *refused.last;
    line(kCode, Verdict::attention,
         fmt::format("{}{}.{}", sentence(refused.moments.front().text),
                     refused.count > 1 ? fmt::format(" ({} refusals in all)", refused.count) : "",
                     recovered ? fmt::format(" It was activated later, at {}.", time_of_day(active_at->time))
                               : kMeans),
         &refused);
    return;
  }
  if (active_at) return pool_activated();
  const bool going = of_.record_.state == DialogueState::active;
  for (const Cases* stopped : {&of_.stalled_, &of_.start_nacks_})
    if (stopped->count > 0 && !going) {
      line(kCode, Verdict::attention,
           fmt::format("{}, and no description was activated.{}", sentence(stopped->moments.front().text),
                       kMeans),
           stopped);
      return;
    }
  not_shown(kCode, !of_.heard_start_ ? "the connection began before the recording, so no activation was heard"
                   : going           ? "values flow, but the activation was not heard"
                                     : "the recording ends before the description was activated");
}

void DialogueLines::pool_activated() {
  std::string text = fmt::format(
      "The description was activated at {}{}", time_of_day(of_.activated_at_->time),
      of_.uploads_ > 0 ? " after its upload." : " out of the task controller's memory, without an upload.");
  if (of_.needless_uploads_ > 0) {
    text += fmt::format(" It was sent although the {} holds its structure label", of_.server());
    if (of_.asked_localization_ && of_.held_localization_ &&
        *of_.asked_localization_ != *of_.held_localization_)
      text += fmt::format(
          ": the localization labels differ, {} of the client and {} of the {} (language or units)",
          hex_bytes(*of_.asked_localization_), hex_bytes(*of_.held_localization_), of_.server());
    text += ".";
  }
  if (of_.unknown_labels_ > 1)
    text += fmt::format(
        " At {} starts the {} did not know the structure label: it does not keep descriptions, or the label "
        "changes.",
        of_.unknown_labels_, of_.server());
  if (of_.start_nacks_.count + of_.stalled_.count > 0)
    text += fmt::format(" Before that {} went without success.",
                        counted_words(of_.start_nacks_.count + of_.stalled_.count, "attempt", "attempts"));
  with(line("device.pool-refused", Verdict::pass, std::move(text)), "activations",
       static_cast<double>(of_.activations_), 0);
}

void DialogueLines::pool_broken() {
  constexpr const char* kCode = "device.pool-broken";
  const DevicePool& pool = of_.device_.pool;
  if (of_.desk_.unheard()) return not_shown(kCode, "the description was uploaded, but not heard whole");
  if (pool.empty()) {
    if (!of_.desk_.mismatch().empty()) {
      line(kCode, Verdict::attention, "The description is not whole: " + of_.desk_.mismatch() + ".");
      return;
    }
    return not_shown(kCode, "no description was uploaded, and none of this NAME is known");
  }
  const bool uploaded = of_.desk_.source() == PoolSource::uploaded;
  const auto broken =
      std::find_if(pool.problems.begin(), pool.problems.end(), [](const PoolProblem& p) { return p.broken; });
  if (broken != pool.problems.end()) {
    CheckLine& made = line(
        kCode, uploaded ? Verdict::attention : Verdict::not_shown,
        uploaded ? fmt::format("The description cannot be read whole: {}. tramlog devices shows what could "
                               "be read.",
                               problem_words(*broken))
                 : fmt::format("Not shown on this bus: the known description cannot be read whole: {}.",
                               problem_words(*broken)));
    if (of_.device_.pool_at && uploaded) {
      made.start = of_.device_.pool_at->time;
      add_moment(made, *of_.device_.pool_at, problem_words(*broken));
    }
    return;
  }
  std::string text =
      fmt::format("The description was read whole: {}", counted_words(pool.objects(), "object", "objects"));
  const std::size_t problems = pool.problems.size() + pool.problems_not_listed;
  if (problems > 0)
    text +=
        fmt::format(", but {}, first {}; tramlog devices lists them",
                    problems == 1 ? "one rule is not kept" : fmt::format("{} rules are not kept", problems),
                    problem_words(pool.problems.front()));
  with(line(kCode, Verdict::pass, text + "."), "rules_not_kept", static_cast<double>(problems), 0);
}

void DialogueLines::version() {
  constexpr const char* kCode = "device.version";
  if (!of_.client_version_ || !of_.server_version_)
    return not_shown(kCode, "the versions were not exchanged in this recording");
  const ProcessVersion& client = *of_.client_version_;
  const ProcessVersion& server = *of_.server_version_;
  const unsigned in_force = std::min(client.version, server.version);
  const std::string versions =
      fmt::format("Client version {}, {} version {}: the rules of version {} are in force.", client.version,
                  of_.server(), server.version, in_force);
  // The counts are told from version 3 on.
  const bool fewer =
      in_force >= 3 && !of_.data_logger_ &&
      (server.booms < client.booms || server.sections < client.sections || server.channels < client.channels);
  const auto result = [&](Verdict verdict, std::string text) {
    CheckLine& made = line(kCode, verdict, std::move(text));
    with(with(made, "client_version", client.version, 0), "server_version", server.version, 0);
  };
  if (!fewer) return result(Verdict::pass, versions);
  const std::string counts = fmt::format(
      "The {} serves {}, {} and {}; the client has {}, {} and {}", of_.server(),
      counted_words(server.booms, "boom", "booms"), counted_words(server.sections, "section", "sections"),
      counted_words(server.channels, "channel", "channels"), client.booms, client.sections, client.channels);
  if (of_.heard_start_ && of_.record_.state != DialogueState::active && !of_.activated_at_)
    return result(
        Verdict::attention,
        counts +
            ": it must offer a smaller description, and none became active. The task controller's licence or "
            "settings may limit it.");
  const Counts offered = counts_of(of_.device_.pool);
  const bool too_much = ((server.options & kSectionControl) != 0 &&
                         (offered.booms > server.booms || offered.sections > server.sections)) ||
                        ((server.options & kPositionBased) != 0 && offered.channels > server.channels);
  if (!of_.device_.pool.empty() && too_much)
    return result(Verdict::attention,
                  fmt::format("{}, and its description offers {}, {} and {}: it should be a smaller one.",
                              counts, offered.booms, offered.sections, offered.channels));
  result(Verdict::pass, fmt::format("{} {}: it works with a smaller description or without that function.",
                                    versions, counts));
}

}  // namespace tramlog
