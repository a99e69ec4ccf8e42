// The report as one JSON object, tramlog.report/1, and the roll call as tramlog.rollcall/1 (contract).
#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "exam/damage_words.hpp"
#include "exam/story.hpp"
#include "exam/words.hpp"
#include "report/format.hpp"
#include "report/recorder_page.hpp"
#include "report/seeding_json.hpp"
#include "report/seeding_page.hpp"
#include "report/series_json.hpp"

namespace tramlog::formats {

extern const Format json;

namespace {

using Json = nlohmann::ordered_json;

Json time_or_null(const std::optional<TimeNs>& time) {
  return time ? Json(format_rfc3339(*time)) : Json(nullptr);
}
Json time_or_null(const std::optional<Mark>& mark) {
  return mark ? Json(format_rfc3339(mark->time)) : Json(nullptr);
}
Json text_or_null(const std::string& text) {
  return text.empty() ? Json(nullptr) : Json(text);
}
// Loads to a hundredth of a per cent: more digits would pretend.
double rounded_pct(double pct) {
  return std::round(pct * 100) / 100;
}

Json name_or_null(const Conclusions& all, const std::optional<std::size_t>& controller) {
  return controller ? Json(all.controllers[*controller].name.hex()) : Json(nullptr);
}

Json names(const Conclusions& all, const std::vector<std::size_t>& controllers) {
  Json list = Json::array();
  for (const std::size_t c : controllers) list.push_back(all.controllers[c].name.hex());
  return list;
}

Json capture(const Report& report) {
  const Conclusions& all = report.found;
  Json buses = Json::array();
  for (const BusSummary& bus : all.buses) {
    Json blind = Json::array();
    for (const BlindSpan& span : bus.blind)
      blind.push_back({{"start", format_rfc3339(span.start)},
                       {"end", format_rfc3339(span.end)},
                       {"frames_lost", span.frames_lost ? Json(*span.frames_lost) : Json(nullptr)},
                       {"reason", span.reason}});
    buses.push_back({{"bus", bus.name},
                     {"frames", bus.frames},
                     {"error_frames", bus.error_frames},
                     {"load_mean_pct", rounded_pct(bus.load_mean_pct)},
                     {"load_peak_pct", rounded_pct(bus.load_peak_pct)},
                     {"bitrate", bus.bitrate},
                     {"bitrate_told", bus.bitrate_told},
                     {"eleven_bit_frames", bus.eleven_bit},
                     {"remote_frames", bus.remote},
                     {"fd_frames", bus.fd},
                     {"statistics", bus.has_statistics},
                     {"blind", std::move(blind)}});
  }
  Json damage = Json::array();
  for (const DamageRecord& d : all.damage)
    damage.push_back({{"offset", d.offset},
                      {"bytes", d.bytes},
                      {"reason", d.reason},
                      {"file", d.file},
                      {"after", format_rfc3339(d.time)},
                      {"kind", damage_code(d.kind)}});
  Json json = {{"files", report.files},          {"start", format_rfc3339(all.start)},
          {"end", format_rfc3339(all.end)}, {"duration_s", to_seconds(all.end - all.start)},
          {"frames", all.frames},           {"error_frames", all.error_frames},
          {"foreign_packets", all.foreign}, {"buses", std::move(buses)},
          {"damage", std::move(damage)}};
  // The only key that most reports do without.
  if (report.stand_ins) json["private"] = true;
  return json;
}

Json controllers(const Conclusions& all) {
  Json list = Json::array();
  for (const ControllerRecord& c : all.controllers) {
    Json addresses = Json::array();
    for (const AddressInterval& interval : c.addresses)
      addresses.push_back({{"address", interval.address},
                           {"start", format_rfc3339(interval.start)},
                           {"end", time_or_null(interval.end)}});
    Json functionalities = Json::array();
    for (const Functionality& f : c.functionalities)
      functionalities.push_back({{"number", f.number},
                                 {"term", functionality_term(f.number)},
                                 {"generation", f.generation},
                                 {"options", f.options}});
    Json ecu = nullptr;
    if (c.ecu)
      ecu = {{"part_number", c.ecu->part_number},   {"serial_number", c.ecu->serial_number},
             {"location", c.ecu->location},         {"type", c.ecu->type},
             {"manufacturer", c.ecu->manufacturer}, {"hardware_version", c.ecu->hardware_version}};
    Json product = nullptr;
    if (c.product)
      product = {{"code", c.product->code}, {"brand", c.product->brand}, {"model", c.product->model}};
    Json component = nullptr;
    if (c.component)
      component = {{"make", c.component->make},
                   {"model", c.component->model},
                   {"serial_number", c.component->serial_number},
                   {"unit_number", c.component->unit_number}};
    const Name n = c.name;
    list.push_back({{"name", n.hex()},
                    {"bus", all.buses[c.bus].name},
                    {"identity_number", n.identity_number()},
                    {"manufacturer_code", n.manufacturer_code()},
                    {"ecu_instance", n.ecu_instance()},
                    {"function_instance", n.function_instance()},
                    {"function", n.function()},
                    {"function_term", function_term(n)},
                    {"device_class", n.device_class()},
                    {"device_class_term", device_class_term(n.industry_group(), n.device_class())},
                    {"device_class_instance", n.device_class_instance()},
                    {"industry_group", n.industry_group()},
                    {"self_configurable_address", n.self_configurable_address()},
                    {"addresses", std::move(addresses)},
                    {"first_seen", format_rfc3339(c.first_seen.time)},
                    {"last_seen", format_rfc3339(c.last_seen.time)},
                    {"claims", c.claims},
                    {"frames", c.frames},
                    {"software", c.software},
                    {"software_reported_at", time_or_null(c.software_reported)},
                    {"ecu_identification", std::move(ecu)},
                    {"product_identification", std::move(product)},
                    {"component_identification", std::move(component)},
                    {"functionalities", std::move(functionalities)},
                    {"label", text_or_null(c.label)},
                    {"state", state_code(c.state)}});
  }
  return list;
}

Json roster(const Conclusions& all) {
  if (!all.rollcall) return nullptr;
  Json entries = Json::array();
  for (const RollcallEntry& entry : all.rollcall->entries)
    entries.push_back({{"label", entry.label},
                       {"state", state_code(entry.state)},
                       {"controller", name_or_null(all, entry.controller)},
                       {"detail", entry.detail},
                       {"required", entry.required},
                       {"supply", text_or_null(entry.supply)},
                       {"side", text_or_null(entry.side)}});
  Json extra = Json::array();
  for (const Name name : all.rollcall->extra) extra.push_back(name.hex());
  return {{"file", all.rollcall->file},
          {"machine", all.rollcall->machine},
          {"entries", std::move(entries)},
          {"extra", std::move(extra)}};
}

Json dropouts(const Conclusions& all) {
  Json list = Json::array();
  for (const Dropout& d : all.dropouts)
    list.push_back({{"controller", name_or_null(all, d.controller)},
                    {"address", d.address},
                    {"bus", all.buses[d.bus].name},
                    {"start", format_rfc3339(d.start.time)},
                    {"end", time_or_null(d.end)},
                    {"duration_s", to_seconds(d.judged_until - d.start.time)},
                    {"reclaimed", d.reclaimed},
                    {"group", d.group ? Json(*d.group) : Json(nullptr)},
                    {"kind", kind_code(d.kind)},
                    {"cause_unknown", d.cause_unknown},
                    {"messages_missed", d.messages_missed},
                    {"start_frame", d.start.frame},
                    {"end_frame", d.end ? Json(d.end->frame) : Json(nullptr)}});
  return list;
}

Json dtcs(const Conclusions& all) {
  Json list = Json::array();
  for (const DtcRecord& d : all.dtcs) {
    list.push_back(
        {{"controller", name_or_null(all, d.controller)},
         {"address", d.address},
         {"bus", all.buses[d.bus].name},
         {"spn", d.dtc.spn},
         {"fmi", d.dtc.fmi},
         {"spn_text", d.spn_text ? Json(*d.spn_text) : Json(nullptr)},
         {"fmi_text", d.fmi_text},
         {"first_active", format_rfc3339(d.first_active.time)},
         {"last_active", format_rfc3339(d.last_active.time)},
         {"cleared", time_or_null(d.cleared)},
         {"occurrence_count", d.dtc.occurrence_count ? Json(*d.dtc.occurrence_count) : Json(nullptr)},
         {"activations", d.activations},
         {"previously_active_only", d.previously_active_only}});
  }
  return list;
}

Json transfers(const Conclusions& all) {
  Json object = Json::object();
  constexpr Carrier kProtocols[] = {Carrier::bam, Carrier::rts_cts, Carrier::etp, Carrier::fast_packet};
  for (std::size_t p = 0; p < 4; ++p) {
    Json counts = Json::object();
    for (int o = 0; o < 7; ++o)
      counts[outcome_code(static_cast<TransferOutcome>(o))] =
          all.transfers.counts[p][static_cast<std::size_t>(o)];
    object[protocol_code(kProtocols[p])] = std::move(counts);
  }
  Json failed = Json::array();
  for (const TransferEnd& t : all.transfers.failed)
    failed.push_back({{"protocol", protocol_code(t.protocol)},
                      {"bus", all.buses[t.bus].name},
                      {"source", t.source},
                      {"destination", t.destination},
                      {"pgn", t.pgn},
                      {"bytes_expected", t.bytes_expected},
                      {"bytes_received", t.bytes_received},
                      {"start", format_rfc3339(t.start)},
                      {"end", format_rfc3339(t.end)},
                      {"outcome", outcome_code(t.outcome)},
                      {"abort_reason", t.abort_reason ? Json(*t.abort_reason) : Json(nullptr)},
                      {"start_frame", t.first_frame},
                      {"end_frame", t.last_frame}});
  object["failed"] = std::move(failed);
  return object;
}

Json evidence(const std::vector<Evidence>& all) {
  Json list = Json::array();
  for (const Evidence& e : all)
    list.push_back({{"time", format_rfc3339(e.at.time)},
                    {"frame", e.at.frame > 0 ? Json(e.at.frame) : Json(nullptr)},
                    {"text", e.text}});
  return list;
}

Json faults(const Conclusions& all) {
  Json list = Json::array();
  for (const Fault& f : all.faults)
    list.push_back({{"code", f.code},
                    {"severity", severity_code(f.severity)},
                    {"start", format_rfc3339(f.start)},
                    {"end", time_or_null(f.end)},
                    {"controllers", names(all, f.controllers)},
                    {"bus", f.bus ? Json(all.buses[*f.bus].name) : Json(nullptr)},
                    {"text", f.text},
                    {"evidence", evidence(f.evidence)}});
  return list;
}

Json findings(const Conclusions& all) {
  Json list = Json::array();
  for (const Finding& f : all.findings) {
    // JSON pointers into this very object.
    Json explains = Json::array();
    for (const std::size_t i : f.faults) explains.push_back(fmt::format("/faults/{}", i));
    for (const std::size_t i : f.consequences) explains.push_back(fmt::format("/faults/{}", i));
    for (const std::size_t i : f.dropouts) explains.push_back(fmt::format("/dropouts/{}", i));
    list.push_back({{"rank", list.size() + 1},
                    {"cause", f.cause},
                    {"confidence", confidence_code(f.confidence)},
                    {"explains", std::move(explains)},
                    {"text", f.text},
                    {"why", f.why},
                    {"against", f.against},
                    {"tell_apart", text_or_null(f.tell_apart)},
                    {"next_steps", f.next_steps}});
  }
  return list;
}

Json story(const Conclusions& all) {
  Json list = Json::array();
  for (const StoryLine& line : all.story)
    list.push_back({{"time", format_rfc3339(line.time)},
                    {"until", time_or_null(line.until)},
                    {"phase", phase_code(line.phase)},
                    {"text", line.text},
                    {"finding", line.finding ? Json(*line.finding + 1) : Json(nullptr)}});
  return list;
}

std::string dumped(const Json& object) {
  return object.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string render_report(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  Json unclaimed = Json::array();
  for (const UnclaimedRecord& u : all.unclaimed)
    unclaimed.push_back({{"address", u.address},
                         {"bus", all.buses[u.bus].name},
                         {"first_seen", format_rfc3339(u.first_seen.time)},
                         {"last_seen", format_rfc3339(u.last_seen.time)},
                         {"frames", u.frames},
                         {"software", u.software}});
  return dumped_report({{"schema", "tramlog.report/1"},
                        {"capture", capture(report)},
                        {"machine", machine_json(all, options.place)},
                        {"controllers", controllers(all)},
                        {"unclaimed", std::move(unclaimed)},
                        {"roster", roster(all)},
                        {"dropouts", dropouts(all)},
                        {"dtcs", dtcs(all)},
                        {"transfers", transfers(all)},
                        {"faults", faults(all)},
                        {"findings", findings(all)},
                        {"story", story(all)},
                        {"implements", implements_json(all, false)},
                        {"recorder", recorder_json(all)},
                        {"series", series_json(all)}});
}

std::string render_rollcall(const Report& report, const FormatOptions& options) {
  return dumped({{"schema", "tramlog.rollcall/1"},
                 {"capture", capture(report)},
                 {"machine", machine_json(report.found, options.place)},
                 {"notes", notes_json(report.found)},
                 {"roster", roster(report.found)},
                 {"controllers", controllers(report.found)}});
}

std::string render_seeding(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  Json lines = Json::array();
  for (const CheckLine& line : all.seeding.lines) lines.push_back(line_json(line));
  return dumped({{"schema", "tramlog.seeding/1"},
                 {"caution", kSeedingCaution},
                 {"capture", capture(report)},
                 {"machine", machine_json(all, options.place)},
                 {"notes", notes_json(all)},
                 {"implements", implements_json(all, true)},
                 {"lines", std::move(lines)}});
}

}  // namespace

const Format json{"json", "one JSON object, tramlog.report/1", render_report, render_rollcall,
                  render_seeding};

}  // namespace tramlog::formats
