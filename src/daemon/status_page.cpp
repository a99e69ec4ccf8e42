#include "daemon/status_page.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"
#include "report/page.hpp"

namespace tramlog {
namespace {

using Json = nlohmann::ordered_json;

std::string amount(std::uint64_t bytes) {
  if (bytes < 10 * 1024) return fmt::format("{} bytes", bytes);
  if (bytes < 10 * 1024 * 1024) return fmt::format("{} KiB", bytes / 1024);
  if (bytes < std::uint64_t{10} * 1024 * 1024 * 1024) return fmt::format("{} MiB", bytes / 1024 / 1024);
  return fmt::format("{} GiB", bytes / 1024 / 1024 / 1024);
}

std::string interface_words(const InterfaceStatus& one, TimeNs now) {
  std::string words = one.state;
  if (one.state == "hearing") words += fmt::format(", {} frames/s", one.frames_per_s);
  if (one.bitrate) words += fmt::format(", {} bit/s", *one.bitrate);
  if (one.controller_state) words += ", " + *one.controller_state;
  if (one.listen_only.value_or(false)) words += ", listens only";
  words += fmt::format("; {} frames", one.frames);
  if (one.error_frames > 0) words += fmt::format(", {} error frames", one.error_frames);
  if (one.lost_system + one.lost_interface > 0)
    words += fmt::format(", {} lost (system {}, interface {})", one.lost_system + one.lost_interface, one.lost_system, one.lost_interface);
  if (one.receive_errors && (*one.receive_errors > 0 || one.transmit_errors.value_or(0) > 0))
    words += fmt::format(", error counters {} receiving, {} transmitting", *one.receive_errors, one.transmit_errors.value_or(0));
  if (one.last_frame && one.state != "hearing") words += fmt::format("; last frame {} ago", format_span(std::max<SpanNs>(now - *one.last_frame, 0)));
  if (!one.detail.empty()) words += ": " + one.detail;
  return words + ".";
}

}  // namespace

bool needs_attention(const DaemonStatus& status) {
  if (!status.writer.trouble.empty() || status.not_recorded > 0 || !status.standing.empty() || status.interfaces.empty()) return true;
  return std::any_of(status.interfaces.begin(), status.interfaces.end(), [](const InterfaceStatus& one) {
    return !one.can_hear || one.lost_system + one.lost_interface > 0;
  });
}

std::string status_text(const DaemonStatus& status) {
  Page page(false);
  page.item("", fmt::format("RECORDER STATUS at {} UTC", format_date_time(status.now)));
  page.item("", fmt::format("Run {}{}, since {} ({})", status.run, status.boot > 0 ? fmt::format(" (boot {})", status.boot) : "",
                            format_date_time(status.begun), format_span(status.now - status.begun)));
  if (status.clock_shift != 0)
    page.item("", fmt::format("Its times are {} {} the system's clock.", format_span(magnitude(status.clock_shift)),
                              status.clock_shift < 0 ? "behind" : "ahead of"));
  page.heading("BUSES");
  if (status.interfaces.empty()) page.item("  ", "no CAN interface yet: adapter plugged in? driver loaded? name as in [interfaces] listen?");
  for (const InterfaceStatus& one : status.interfaces) page.item(fmt::format("  {:<8} ", one.name), interface_words(one, status.now));
  page.heading("RECORDING");
  page.item("  ", fmt::format("folder {}: {} in {}, {} of them protected; {} free on the disk", status.folder, amount(status.keeper.bytes),
                              counted(status.keeper.segments, "segment", "segments"), status.keeper.is_protected, amount(status.keeper.free_bytes)));
  page.item("  ", status.writer.segment.empty() ? std::string("no segment is being written")
                                                : fmt::format("writing {} ({})", status.writer.segment, amount(status.writer.segment_bytes)));
  if (!status.writer.trouble.empty())
    page.item("  ", fmt::format("TROUBLE: the disk {}; {} of {} wait in memory", status.writer.trouble, amount(status.writer.waiting), amount(status.buffer_bytes)));
  if (status.not_recorded > 0) page.item("  ", fmt::format("LOST: {} frames found no room while the disk took nothing", status.not_recorded));
  page.heading("EXAMINING");
  page.item("  ", fmt::format("{} frames examined{}{}", status.examiner.frames,
                              status.examiner.waiting > 64 * 1024 ? fmt::format(", {} still waiting", amount(status.examiner.waiting)) : "",
                              status.examiner.unrecorded > 0 ? fmt::format("; {} of them are not in the recording", status.examiner.unrecorded) : ""));
  if (status.standing.empty()) page.item("  ", "nothing stands open");
  for (const std::string& one : status.standing) page.item("  ", one);
  return page.take();
}

std::string status_json(const DaemonStatus& status) {
  const auto or_null = [](const auto& value) { return value ? Json(*value) : Json(nullptr); };
  Json buses = Json::array();
  for (const InterfaceStatus& one : status.interfaces)
    buses.push_back({{"bus", one.name},
                     {"state", one.state},
                     {"can_hear", one.can_hear},
                     {"detail", one.detail},
                     {"driver", one.kind},
                     {"bitrate", or_null(one.bitrate)},
                     {"controller_state", or_null(one.controller_state)},
                     {"listen_only", or_null(one.listen_only)},
                     {"error_reporting", or_null(one.error_reporting)},
                     {"transmit_errors", or_null(one.transmit_errors)},
                     {"receive_errors", or_null(one.receive_errors)},
                     {"frames", one.frames},
                     {"error_frames", one.error_frames},
                     {"frames_per_s", one.frames_per_s},
                     {"lost_system", one.lost_system},
                     {"lost_interface", one.lost_interface},
                     {"last_frame", one.last_frame ? Json(format_rfc3339(*one.last_frame)) : Json(nullptr)}});
  const Json all = {{"schema", "tramlog.status/1"},
                    {"run", status.run},
                    {"boot", status.boot},
                    {"begun", format_rfc3339(status.begun)},
                    {"now", format_rfc3339(status.now)},
                    {"clock_shift_s", to_seconds(status.clock_shift)},
                    {"clock_synchronised", status.clock_synchronised},
                    {"needs_attention", needs_attention(status)},
                    {"buses", std::move(buses)},
                    {"recording",
                     {{"folder", status.folder},
                      {"segment", status.writer.segment.empty() ? Json(nullptr) : Json(status.writer.segment)},
                      {"segment_bytes", status.writer.segment_bytes},
                      {"written_bytes", status.writer.written},
                      {"waiting_bytes", status.writer.waiting},
                      {"buffer_bytes", status.buffer_bytes},
                      {"trouble", status.writer.trouble.empty() ? Json(nullptr) : Json(status.writer.trouble)},
                      {"longest_write_s", static_cast<double>(status.writer.longest_wait.count()) / 1000},
                      {"not_recorded", status.not_recorded},
                      {"folder_bytes", status.keeper.bytes},
                      {"segments", status.keeper.segments},
                      {"protected_segments", status.keeper.is_protected},
                      {"waiting_to_be_packed", status.keeper.waiting},
                      {"free_bytes", status.keeper.free_bytes}}},
                    {"examining",
                     {{"frames", status.examiner.frames},
                      {"latest", status.examiner.latest == 0 ? Json(nullptr) : Json(format_rfc3339(status.examiner.latest))},
                      {"waiting_bytes", status.examiner.waiting},
                      {"unrecorded", status.examiner.unrecorded},
                      {"begun_anew", status.examiner.begun_anew}}},
                    {"standing", status.standing}};
  return all.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
}

}  // namespace tramlog
