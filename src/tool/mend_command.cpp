// tramlog mend: everything readable of a damaged capture.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "exam/damage_words.hpp"
#include "exam/words.hpp"
#include "report/page.hpp"
#include "slice/mender.hpp"
#include "tool/command.hpp"

namespace tramlog {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kMostTold = 50;  // lines of one list

struct MendCommand {
  std::string damaged, mended;
  std::string format = "text";
};

std::string where(const LostPart& part) {
  if (part.after && part.before)
    return fmt::format("between {} and {}", format_date_time(*part.after), format_date_time(*part.before));
  if (part.after) return fmt::format("after {}", format_date_time(*part.after));
  if (part.before) return fmt::format("before {}", format_date_time(*part.before));
  return "no time is known";
}

void tell_order(Page& page, const Mended& mended) {
  page.heading("ORDER");
  if (!mended.sorted.empty()) {
    page.item("  ", fmt::format("Blocks of the file stood in the wrong order: {} were sorted by time.",
                                counted(mended.sorted.size(), "stretch", "stretches")));
    for (std::size_t i = 0; i < std::min(mended.sorted.size(), kMostTold); ++i)
      page.item("  - ", fmt::format("{} to {}", format_date_time(mended.sorted[i].first),
                                    format_date_time(mended.sorted[i].last)));
    if (mended.sorted.size() > kMostTold)
      page.item("  ", fmt::format("{} more are not listed.", mended.sorted.size() - kMostTold));
  }
  if (mended.stamps > 0) {
    const bool one = mended.stamps == 1;
    page.item("  ", fmt::format("{} far from those around {} and {} put right:",
                                counted(mended.stamps, "time stamp was", "time stamps were"),
                                one ? "it" : "them", one ? "was" : "were"));
    std::size_t told = 0;
    for (const MovedBlock& block : mended.out_of_order)
      if (block.instead && told++ < kMostTold)
        page.item("  - ", fmt::format("{} instead of {}", format_date_time(*block.instead),
                                      format_date_time(block.time)));
    if (mended.stamps > kMostTold)
      page.item("  ", fmt::format("{} more are not listed.", mended.stamps - kMostTold));
  }
  if (mended.moved > 0)
    page.item("  ",
              fmt::format("{} stood out of time order and {} put back where the time says.",
                          counted(mended.moved, "block", "blocks"), mended.moved == 1 ? "was" : "were"));
  if (mended.left > 0)
    page.item("  ", fmt::format("{} stood out of time order and {} left in place: where {} is not sure.",
                                counted(mended.left, "block", "blocks"), mended.left == 1 ? "was" : "were",
                                mended.left == 1 ? "it belongs" : "they belong"));
  if (mended.crowded)
    page.item("  ",
              "So many blocks stand out of time order that it is the recording's own way: nothing was "
              "moved there.");
  for (const Mended::Step& step : mended.steps)
    page.item("  - ",
              fmt::format("the time goes back by {}, from {} to {}, and stays back: the recorder's clock was "
                          "put back, or blocks of the file are in the wrong order and do not fit "
                          "together; left alone",
                          format_span(step.before - step.after), format_date_time(step.before),
                          format_date_time(step.after)));
}

std::string text_of(const MendCommand& command, const Mended& mended) {
  Page page(false);
  page.line("MENDED");
  page.item("  ", fmt::format("{} written to {}, with {} of other kinds (statistics, notes).",
                              counted(mended.packets, "packet", "packets"), command.mended,
                              counted(mended.other, "block", "blocks")));
  if (mended.losses == 0) {
    page.item("  ", "Nothing was lost: every block could be read.");
  } else {
    page.heading("LOST");
    const auto doubts = static_cast<std::uint64_t>(
        std::count_if(mended.lost.begin(), mended.lost.end(),
                      [](const LostPart& part) { return part.kind == Damage::Kind::doubtful; }));
    if (mended.losses > doubts)
      page.item("  ", fmt::format("{} in {} could not be read. The mended capture says so at each of them.",
                                  counted(mended.lost_bytes, "byte", "bytes"),
                                  counted(mended.losses - doubts, "place", "places")));
    for (const LostPart& part : mended.lost)
      page.item("  - ", fmt::format("offset {}, {}: {}; {}", part.offset,
                                    counted(part.bytes, "byte", "bytes"), part.reason, where(part)));
    for (const LostPart& part : mended.lost) {
      if (part.kind == Damage::Kind::breaks_off)
        page.item("  ", fmt::format("The recording breaks off{}; what came after is not known.",
                                    part.after ? " at " + format_date_time(*part.after) : ""));
      if (part.kind == Damage::Kind::doubtful)
        page.item("  ", fmt::format("A checksum does not hold: what was read{} may be wrong.",
                                    part.after ? " up to " + format_date_time(*part.after) : ""));
    }
    if (mended.losses > mended.lost.size())
      page.item("  ", fmt::format("{} more are not listed.", mended.losses - mended.lost.size()));
  }
  if (mended.moved + mended.left + mended.stamps + mended.steps.size() + mended.sorted.size() > 0 ||
      mended.crowded)
    tell_order(page, mended);
  return page.take();
}

Json time_or_null(const std::optional<TimeNs>& time) {
  return time ? Json(format_rfc3339(*time)) : Json(nullptr);
}

std::string json_of(const Mended& mended) {
  Json lost = Json::array(), order = Json::array(), steps = Json::array();
  for (const LostPart& part : mended.lost)
    lost.push_back({{"offset", part.offset},
                    {"bytes", part.bytes},
                    {"reason", part.reason},
                    {"kind", damage_code(part.kind)},
                    {"after", time_or_null(part.after)},
                    {"before", time_or_null(part.before)}});
  for (const MovedBlock& block : mended.out_of_order)
    order.push_back({{"time", format_rfc3339(block.time)},
                     {"moved", block.moved},
                     {"time_instead", time_or_null(block.instead)}});
  Json sorted = Json::array();
  for (const FilePart& stretch : mended.sorted)
    sorted.push_back({{"start", format_rfc3339(stretch.first)}, {"end", format_rfc3339(stretch.last)}});
  for (const Mended::Step& step : mended.steps)
    steps.push_back({{"before", format_rfc3339(step.before)}, {"after", format_rfc3339(step.after)}});
  const Json whole{{"schema", "tramlog.mend/1"},
                   {"packets", mended.packets},
                   {"other_blocks", mended.other},
                   {"lost_bytes", mended.lost_bytes},
                   {"losses", mended.losses},
                   {"lost", lost},
                   {"moved", mended.moved},
                   {"left_out_of_order", mended.left},
                   {"stamps_put_right", mended.stamps},
                   {"sorted", sorted},
                   {"crowded", mended.crowded},
                   {"out_of_order", order},
                   {"clock_steps", steps}};
  return whole.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

int run(const MendCommand& command) {
  const auto mended = mend_capture(command.damaged, command.mended);
  if (!mended) return fail(mended.error());
  CommonOptions to_standard_output;
  return deliver(to_standard_output,
                 command.format == "json" ? json_of(mended.value()) : text_of(command, mended.value()),
                 mended.value().losses > 0 ? kDamagedInput : kFine);
}

}  // namespace

void add_mend_command(CLI::App& app, int& code) {
  auto options = std::make_shared<MendCommand>();
  CLI::App* command = app.add_subcommand(
      "mend", "Recovers everything readable from a damaged capture and lists what was lost");
  command->add_option("DAMAGED", options->damaged, "The damaged capture: pcapng or pcap, plain or .zst")
      ->required();
  command
      ->add_option("-o,--output", options->mended,
                   "The mended capture, pcapng; compressed if the name ends in .zst")
      ->required();
  command->add_option("--format", options->format, "How to list what was lost. One of: json, text")
      ->check(CLI::IsMember({"text", "json"}))
      ->capture_default_str();
  command->footer(
      "Example:\n  tramlog mend monday.pcapng -o monday-mended.pcapng.zst\n\nThe damaged capture itself is "
      "not touched.\n\n"
      "Exit code: 0 nothing was lost, 2 wrong usage, 3 something was lost (the mended capture is written all "
      "the same)\n"
      "or the capture cannot be read at all, 4 the mended capture cannot be written.");
  command->callback([options, &code] { code = run(*options); });
}

}  // namespace tramlog
