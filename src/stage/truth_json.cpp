#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "stage/implement_json.hpp"
#include "stage/truth.hpp"

namespace tramlog::stage {
namespace {

using Json = nlohmann::json;  // keys come out sorted

constexpr const char* kCarrierWords[] = {"automatic", "bam", "rts-cts", "etp", "fast-packet"};
constexpr const char* kOutcomeWords[] = {"complete",     "aborted", "timed-out", "interrupted",
                                         "out-of-order", "unseen",  "unfinished"};
constexpr const char* kSilenceWords[] = {"controller", "bus-silent", "power-down"};

Json time_or_null(const std::optional<TimeNs>& time) {
  return time ? Json(format_rfc3339(*time)) : Json();
}
std::string name_hex(std::uint64_t name) {
  return fmt::format("{:016x}", name);
}

// Something that a report can see as regular traffic; without it silence is nobody's fault.
bool speaks_regularly(const ControllerSpec& controller) {
  return controller.dm1_always ||
         std::any_of(controller.messages.begin(), controller.messages.end(), [](const MessageSpec& message) {
           return message.when == MessageSpec::When::cyclic || message.when == MessageSpec::When::heartbeat;
         });
}

// Events that are only symptoms: what lies behind them nobody told.
bool has_mere_symptoms(const Scenario& scenario) {
  using What = HappeningSpec::What;
  return std::any_of(scenario.happenings.begin(), scenario.happenings.end(), [](const HappeningSpec& event) {
    return event.what == What::controller_off || event.what == What::mute || event.what == What::supply_off;
  });
}

Json cause_json(const CauseTruth& cause, const Scenario& scenario) {
  Json labels = Json::array();
  for (const std::uint32_t controller : cause.controllers)
    labels.push_back(scenario.controllers[controller].label);
  return {{"code", cause.code},
          {"bus", scenario.buses[cause.bus].name},
          {"start", format_rfc3339(cause.start)},
          {"end", time_or_null(cause.end)},
          {"controllers", std::move(labels)},
          {"supply", cause.supply},
          {"branch", cause.branch},
          {"origin", cause.origin}};
}

}  // namespace

std::string Truth::to_json(const Recorder& recorder) const {
  const auto regular =
      [this](const ControllerSpec& spec) {  // partners of an implement tell their state every 2 s
        return speaks_regularly(spec) || std::any_of(scenario_.implements.begin(), scenario_.implements.end(),
                                                     [&](const ImplementSpec& implement) {
                                                       return implement.client == spec.label ||
                                                              implement.task_controller == spec.label;
                                                     });
      };
  Json root;
  root["schema"] = "tramlog.truth/1";
  root["title"] = scenario_.title;
  root["seed"] = scenario_.seed;
  Json& capture = root["capture"];
  capture["start"] = format_rfc3339(recorder.first());
  capture["end"] = format_rfc3339(recorder.last());
  capture["frames"] = recorder.frames();
  capture["error_frames"] = recorder.error_frames();
  capture["buses"] = Json::array();
  for (std::size_t bus = 0; bus < scenario_.buses.size(); ++bus) {
    capture["buses"].push_back({{"bus", scenario_.buses[bus].name},
                                {"bitrate", scenario_.buses[bus].bitrate},
                                {"frames", recorder.frames(bus)}});
  }
  root["clock_steps_s"] = Json::array();
  for (const SpanNs step : recorder.clock_steps()) root["clock_steps_s"].push_back(to_seconds(step));
  root["blind"] = Json::array();
  for (const BlindInterval& blind : recorder.blind()) {
    root["blind"].push_back({{"bus", scenario_.buses[blind.bus].name},
                             {"reason", blind.reason},
                             {"start", format_rfc3339(blind.start)},
                             {"end", format_rfc3339(blind.end)},
                             {"frames_lost", blind.frames_lost}});
  }

  root["controllers"] = Json::array();
  for (std::size_t i = 0; i < accounts_.size(); ++i) {
    const ControllerSpec& spec = scenario_.controllers[i];
    const Account& account = accounts_[i];
    Json entry = {
        {"name", name_hex(spec.name)}, {"bus", scenario_.buses[spec.bus].name},
        {"label", spec.label},         {"supply", spec.supply},
        {"side", spec.side},           {"absent", spec.absent},
        {"frames", account.frames},    {"claims", account.claims},
        {"refused", account.refused},  {"software", account.software},
        {"regular", regular(spec)},    {"software_reported_at", time_or_null(account.software_reported_at)}};
    entry["first_seen"] = account.frames == 0 ? Json() : Json(format_rfc3339(account.first));
    entry["last_seen"] = account.frames == 0 ? Json() : Json(format_rfc3339(account.last));
    entry["addresses"] = Json::array();
    for (const AddressSpan& span : account.addresses) {
      entry["addresses"].push_back({{"address", span.address},
                                    {"start", format_rfc3339(span.start)},
                                    {"end", time_or_null(span.end)}});
    }
    root["controllers"].push_back(std::move(entry));
  }

  root["strangers"] = Json::array();
  for (std::size_t i = 0; i < strangers_.size(); ++i) {
    const StrangerSpec& spec = scenario_.strangers[i];
    if (strangers_[i].frames == 0) continue;
    const char* kind = spec.fd ? "fd" : spec.remote ? "remote" : spec.standard ? "standard" : "extended";
    root["strangers"].push_back({{"label", spec.label},
                                 {"bus", scenario_.buses[spec.bus].name},
                                 {"kind", kind},
                                 {"id", spec.id},
                                 {"first_seen", format_rfc3339(strangers_[i].first)},
                                 {"last_seen", format_rfc3339(strangers_[i].last)},
                                 {"frames", strangers_[i].frames}});
  }

  std::vector<Dropout> dropouts = dropouts_;
  for (Dropout& dropout : dropouts) {
    if (!dropout.end) dropout.start = accounts_[dropout.controller].last;
  }
  const auto name_of = [&](std::uint32_t controller) { return scenario_.controllers[controller].name; };
  std::stable_sort(dropouts.begin(), dropouts.end(), [&](const Dropout& a, const Dropout& b) {
    return std::tuple(a.start, name_of(a.controller)) < std::tuple(b.start, name_of(b.controller));
  });
  root["dropouts"] = Json::array();
  for (const Dropout& dropout : dropouts) {
    const ControllerSpec& spec = scenario_.controllers[dropout.controller];
    const auto members = std::count_if(dropouts.begin(), dropouts.end(),
                                       [&](const Dropout& other) { return other.group == dropout.group; });
    const TimeNs end = dropout.end.value_or(recorder.last());
    root["dropouts"].push_back({{"controller", name_hex(spec.name)},
                                {"label", spec.label},
                                {"bus", scenario_.buses[spec.bus].name},
                                {"address", dropout.address},
                                {"kind", kSilenceWords[static_cast<std::size_t>(dropout.kind)]},
                                {"cause", dropout.cause},
                                {"start", format_rfc3339(dropout.start)},
                                {"end", time_or_null(dropout.end)},
                                {"reclaimed", dropout.reclaimed},
                                {"regular", regular(spec)},
                                {"group", members > 1 ? Json(dropout.group) : Json()},
                                {"overlaps_blind", overlaps_blind(recorder, spec.bus, dropout.start, end)}});
  }

  if (scenario_.tells_causes && !has_mere_symptoms(scenario_)) {
    root["causes"] = Json::array();
    for (const CauseTruth& cause : causes_) {
      if (cause.needs_victims && cause.controllers.empty()) continue;
      root["causes"].push_back(cause_json(cause, scenario_));
    }
  }

  root["intended_silences"] = Json::array();
  for (const Intended& silence : intended_) {
    root["intended_silences"].push_back({{"controller", name_hex(name_of(silence.controller))},
                                         {"label", scenario_.controllers[silence.controller].label},
                                         {"start", format_rfc3339(silence.from)},
                                         {"end", format_rfc3339(silence.until)},
                                         {"cause", silence.cause}});
  }

  Json counts = Json::object();
  for (std::size_t carrier = 1; carrier < transfer_counts_.size(); ++carrier) {
    for (std::size_t outcome = 0; outcome < transfer_counts_[carrier].size(); ++outcome) {
      if (transfer_counts_[carrier][outcome] == 0) continue;
      counts[kCarrierWords[carrier]][kOutcomeWords[outcome]] = transfer_counts_[carrier][outcome];
    }
  }
  root["transfer_counts"] = std::move(counts);
  root["transfers_not_listed"] = transfers_not_listed_;
  root["transfers"] = Json::array();
  std::vector<TransferTruth> transfers = transfers_;
  std::stable_sort(transfers.begin(), transfers.end(), [](const TransferTruth& a, const TransferTruth& b) {
    return a.start.value_or(INT64_MAX) < b.start.value_or(INT64_MAX);
  });
  for (const TransferTruth& transfer : transfers) {
    root["transfers"].push_back(
        {{"protocol", kCarrierWords[static_cast<std::size_t>(transfer.carrier)]},
         {"controller", name_hex(name_of(transfer.sender))},
         {"bus", scenario_.buses[transfer.bus].name},
         {"source", transfer.source},
         {"destination", transfer.destination},
         {"pgn", transfer.pgn},
         {"bytes", transfer.bytes},
         {"start", time_or_null(transfer.start)},
         {"end", time_or_null(transfer.end)},
         {"frames", transfer.frames},
         {"frames_unheard", transfer.frames_unheard},
         {"outcome", kOutcomeWords[static_cast<std::size_t>(transfer.outcome)]},
         {"abort_reason", transfer.abort_reason ? Json(*transfer.abort_reason) : Json()}});
  }

  root["dtcs"] = Json::array();
  for (const auto& [key, dtc] : dtcs_) {
    const auto& [controller, spn, fmi] = key;
    root["dtcs"].push_back({{"controller", name_hex(name_of(controller))},
                            {"label", scenario_.controllers[controller].label},
                            {"spn", spn},
                            {"fmi", fmi},
                            {"first_active", format_rfc3339(dtc.first_active)},
                            {"cleared", time_or_null(dtc.cleared)},
                            {"occurrence_count", dtc.occurrence},
                            {"activations", dtc.activations}});
  }
  if (!implements_.empty()) {
    root["implements"] = Json::array();
    for (const ImplementTruth& implement : implements_)
      root["implements"].push_back(implement_json(implement));
  }
  return root.dump(1) + "\n";
}

}  // namespace tramlog::stage
