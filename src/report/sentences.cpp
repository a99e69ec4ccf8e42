#include "report/sentences.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "exam/words.hpp"
#include "report/answer_page.hpp"

namespace tramlog {

std::string joined(const std::vector<std::string>& texts) {
  std::string all;
  for (const std::string& part : texts) all += (all.empty() ? "" : ", ") + part;
  return all;
}

std::string software_words(const ControllerRecord& c) {
  if (!c.software.empty()) return joined(c.software);
  return fmt::format("unknown: {}", silence_text(c.software_silence));
}

std::string dropout_words(const Conclusions& all, const Dropout& d) {
  std::string back;
  if (d.end)
    back =
        fmt::format("back {}, {} a new address claim", mark_words(*d.end), d.reclaimed ? "with" : "without");
  else
    back = "not heard again";
  const char* kind = d.kind == DropoutKind::bus_silent
                         ? (d.cause_unknown ? "; all of the bus, cause unknown" : "; with all of the bus")
                         : "";
  const std::string missed =
      d.messages_missed > 0 ? fmt::format(", about {} missed", counted(d.messages_missed, "message", "messages"))
                            : std::string();
  return fmt::format("{}{}: last heard {}, silent for {}{}; {}{}{}.",
                     voice_words(all, d.controller, d.address), on_bus(all, d.bus), mark_words(d.start),
                     format_span(d.judged_until - d.start.time), missed, back,
                     d.group ? fmt::format("; group {}", *d.group) : "", kind);
}

std::vector<BlindSpan> unheard(const BusSummary& bus) {
  std::vector<BlindSpan> spans;
  for (const BlindSpan& span : bus.blind)
    if (span.kind != Deafness::left_out && span.end > span.start) spans.push_back(span);
  std::stable_sort(spans.begin(), spans.end(),
                   [](const BlindSpan& a, const BlindSpan& b) { return a.start < b.start; });
  std::vector<BlindSpan> apart;
  for (BlindSpan& span : spans) {
    if (apart.empty() || span.start > apart.back().end)
      apart.push_back(std::move(span));
    else
      apart.back().end = std::max(apart.back().end, span.end);
  }
  return apart;
}

std::string bus_words(const BusSummary& bus) {
  return fmt::format("{}, {}; load {:.1f} % on average, {:.1f} % in the fullest second; {} bit/s{}; {}",
                     counted(bus.frames, "frame", "frames"),
                     counted(bus.error_frames, "error frame", "error frames"), bus.load_mean_pct,
                     bus.load_peak_pct, bus.bitrate, bus.bitrate_told ? "" : " assumed",
                     bus.has_statistics ? "statistics blocks present" : "no steady statistics blocks");
}

std::string unclaimed_words(const Conclusions& all, const UnclaimedRecord& u) {
  return fmt::format("address {}{} never claimed: {} from {} to {}", address_words(u.address),
                     on_bus(all, u.bus), counted(u.frames, "frame", "frames"), mark_words(u.first_seen),
                     mark_words(u.last_seen));
}

std::vector<LabelledText> transfer_lines(const Conclusions& all) {
  constexpr Carrier kProtocols[] = {Carrier::bam, Carrier::rts_cts, Carrier::etp, Carrier::fast_packet};
  std::vector<LabelledText> lines;
  for (std::size_t p = 0; p < 4; ++p) {
    std::string words;
    for (int o = 0; o < 7; ++o)
      if (const auto count = all.transfers.counts[p][static_cast<std::size_t>(o)]; count > 0)
        words += fmt::format("{}{} {}", words.empty() ? "" : ", ", count,
                             outcome_code(static_cast<TransferOutcome>(o)));
    if (!words.empty()) lines.emplace_back(protocol_code(kProtocols[p]), words);
  }
  return lines;
}

std::vector<LabelledText> controller_lines(const Conclusions& all, std::size_t controller) {
  const ControllerRecord& c = all.controllers[controller];
  const Name n = c.name;
  std::vector<LabelledText> lines;
  lines.emplace_back(
      "NAME",
      fmt::format("{}: {}, {}, instance {}; maker code {}, identity {}, ECU instance {}", n.hex(),
                  device_class_term(n.industry_group(), n.device_class()), function_term(n),
                  n.function_instance(), n.manufacturer_code(), n.identity_number(), n.ecu_instance()));
  std::string addresses;
  for (const AddressInterval& interval : c.addresses)
    addresses += fmt::format("{}{} from {}{}", addresses.empty() ? "" : ", ", interval.address,
                             mark_words({interval.start, interval.start_frame}),
                             interval.end ? " to " + format_time_of_day(*interval.end) : "");
  if (!addresses.empty()) lines.emplace_back("address", addresses);
  lines.emplace_back("heard", fmt::format("{} to {}, {}, {}", mark_words(c.first_seen),
                                          mark_words(c.last_seen), counted(c.frames, "frame", "frames"),
                                          counted(c.claims, "address claim", "address claims")));
  lines.emplace_back("silence", c.rhythms > 0
                                    ? fmt::format("judged by {}, the slowest every {}",
                                                  counted(c.rhythms, "steady rhythm", "steady rhythms"),
                                                  format_span(c.slowest_period))
                                    : "not judged: nothing that it sends has a steady rhythm");
  if (c.software_reported)
    lines.emplace_back("software",
                       fmt::format("{}; reported {}", joined(c.software), mark_words(*c.software_reported)));
  if (c.ecu)
    lines.emplace_back(
        "unit", fmt::format("part {}, serial {}, {}, {}, hardware {}", c.ecu->part_number,
                            c.ecu->serial_number, c.ecu->type, c.ecu->manufacturer, c.ecu->hardware_version));
  if (c.product)
    lines.emplace_back("product",
                       fmt::format("{}, {}, {}", c.product->code, c.product->brand, c.product->model));
  if (c.component)
    lines.emplace_back("component", fmt::format("{}, {}, serial {}", c.component->make, c.component->model,
                                                c.component->serial_number));
  return lines;
}

}  // namespace tramlog
