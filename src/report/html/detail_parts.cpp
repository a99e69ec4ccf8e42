// What stands last: transfers, controllers in detail, buses, the technician's notes, the recorder.
#include <fmt/format.h>

#include <algorithm>

#include "exam/damage_words.hpp"
#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/html/report_parts.hpp"
#include "report/recorder_page.hpp"
#include "report/sentences.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kListedTransfers = 100, kListedControllers = 150, kListedBlind = 100,
                      kListedNotes = 300;

}  // namespace

void transfers_part(HtmlPage& page, const Conclusions& all) {
  const std::vector<LabelledText> lines = transfer_lines(all);
  if (lines.empty()) return;
  page.section("transfers", "Transfers");
  HtmlTable counts("How they ended", {"Protocol", "Outcome"});
  for (const auto& [protocol, words] : lines) counts.row({protocol, words});
  page.add(counts.html());
  HtmlTable failed("Those that failed", {"Start", "From", "To", "PGN", "What happened"});
  for (const TransferEnd& end : all.transfers.failed) {
    if (failed.rows() >= kListedTransfers) break;
    failed.row({mark_words({end.start, end.first_frame}), address_words(end.source),
                end.destination == kGlobalAddress ? "everybody" : address_words(end.destination),
                pgn_words(end.pgn), std::string(protocol_code(end.protocol)) + " " + failure_words(end)});
  }
  page.add(failed.html() +
           not_listed_words(failed.rows(), all.transfers.failed.size() + all.transfers.failed_not_listed));
}

void controllers_part(HtmlPage& page, const Conclusions& all) {
  if (all.controllers.empty()) return;
  page.section("controllers", "Controllers in detail");
  const std::size_t listed = std::min(all.controllers.size(), kListedControllers);
  for (std::size_t i = 0; i < listed; ++i) {
    std::vector<std::pair<Html, Html>> facts;
    for (const auto& [label, words] : controller_lines(all, i)) facts.emplace_back(label, words);
    page.add(html_details(controller_words(all, i) + on_bus(all, all.controllers[i].bus), html_facts(facts)));
  }
  page.add(not_listed_words(listed, all.controllers.size()));
}

void buses_part(HtmlPage& page, const Conclusions& all) {
  page.section("buses", "Buses");
  std::vector<std::pair<Html, Html>> facts;
  for (const BusSummary& bus : all.buses) facts.emplace_back(bus.name, bus_words(bus));
  page.add(html_facts(facts));
  std::vector<Html> voices;
  for (const UnclaimedRecord& u : all.unclaimed) voices.push_back(unclaimed_words(all, u));
  page.add(html_list(voices));
  HtmlTable blind("When the recorder itself heard nothing, or not all",
                  {"From", "To", "Bus", "Frames lost", "Why"});
  std::size_t spans = 0;
  for (const BusSummary& bus : all.buses) {
    for (const BlindSpan& span : bus.blind) {
      if (span.kind == Deafness::left_out) continue;  // it was heard, and stands in the recording that this is a slice of
      ++spans;
      if (blind.rows() < kListedBlind)
        blind.row({format_time_of_day(span.start), format_time_of_day(span.end), bus.name,
                   span.frames_lost ? std::to_string(*span.frames_lost) : "not known", span.reason});
    }
  }
  page.add(blind.html() + not_listed_words(blind.rows(), spans));
  HtmlTable damage("Parts of the captures that could not be read", {"After", "Capture", "From byte", "Bytes", "Why"});
  for (const DamageRecord& part : all.damage)
    if (damage.rows() < kListedBlind)
      damage.row({format_time_of_day(part.time), std::to_string(part.file + 1), std::to_string(part.offset),
                  std::to_string(part.bytes), damage_words(part)});
  page.add(damage.html() + not_listed_words(damage.rows(), all.damage.size()));
}

void notes_part(HtmlPage& page, const Conclusions& all) {
  HtmlTable table("Written on the machine while it was recorded (UTC)", {"Time", "Note"});
  std::size_t whole = 0;
  for (const RecordedNote& noted : all.recorder.notes)
    if (noted.note.kind == RecorderNote::Kind::mark && ++whole <= kListedNotes)
      table.row({format_time_of_day(noted.time), noted.note.text});
  if (table.empty()) return;
  page.section("notes", "Notes of the technician");
  page.add(table.html() + not_listed_words(table.rows(), whole));
}

void recorder_part(HtmlPage& page, const Conclusions& all) {
  const std::vector<LabelledText> lines = recorder_lines(all);
  if (lines.empty()) return;
  page.section("recorder", "Recorder");
  std::vector<Html> items;
  for (std::size_t i = 0; i < lines.size() && i < kListedNotes; ++i)
    items.push_back(lines[i].first.empty() ? lines[i].second : lines[i].first + " " + lines[i].second);
  page.add(html_list(items) + not_listed_words(items.size(), lines.size()));
}

}  // namespace tramlog
