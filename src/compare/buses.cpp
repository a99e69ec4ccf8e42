// Bus load, error frames, bit rate; and what makes a comparison doubtful.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "compare/desk.hpp"
#include "exam/words.hpp"

namespace tramlog {
namespace {

void load(CompareDesk& desk, const BusFacts& bus, const char* what, double was, double is, double limit,
          double easy) {
  ++desk.out.compared;
  if (std::fabs(is - was) <= limit) {
    desk.out.within_noise += was != is;
    return;
  }
  ChangeLine line;
  line.change = std::max(was, is) <= easy ? Change::other : is > was ? Change::worse : Change::better;
  line.code = what == std::string("average") ? "bus.load-mean" : "bus.load-peak";
  line.topic = "bus";
  line.subject = bus.name;
  line.text = fmt::format("load {} {:.1f} % before, {:.1f} % after", what, was, is);
  line.before = was;
  line.after = is;
  line.unit = "%";
  desk.say(std::move(line));
}

void errors(CompareDesk& desk, const BusFacts& was, const BusFacts& is) {
  ++desk.out.compared;
  if (was.heard_s <= 0 || is.heard_s <= 0) return;
  const double before = was.error_frames / was.heard_s * 3600, after = is.error_frames / is.heard_s * 3600;
  const double least = std::min(before, after), most = std::max(before, after);
  if (most - least < noise::kErrorsPerHour || most < noise::kErrorRatio * least) return;
  // Of a few error frames in a short time nobody can say what an hour would bring.
  const bool shorter_has_none = std::min(was.error_frames, is.error_frames) == 0;
  const double expected = most * (was.error_frames == 0 ? was.heard_s : is.heard_s) / 3600;
  ChangeLine line;
  line.too_short = shorter_has_none &&
                   expected < (after > before ? noise::kLeastExpectedWorse : noise::kLeastExpectedBetter);
  line.change = line.too_short ? Change::other : after > before ? Change::worse : Change::better;
  line.code = "bus.errors";
  line.topic = "bus";
  line.subject = was.name;
  line.text = fmt::format("{:.0f} error frames in {} before, {:.0f} in {} after", was.error_frames,
                          span_words(was.heard_s), is.error_frames, span_words(is.heard_s));
  if (line.too_short)
    line.text += too_short_words(
        {true, Change::other, true, after > before ? 0 : noise::kLeastExpectedBetter / before});
  line.before = was.error_frames;
  line.after = is.error_frames;
  desk.say(std::move(line));
}

void both(CompareDesk& desk, const BusFacts& was, const BusFacts& is) {
  load(desk, was, "average", was.load_mean_pct, is.load_mean_pct, noise::kMeanLoad, noise::kEasyMeanLoad);
  load(desk, was, "in the fullest second", was.load_peak_pct, is.load_peak_pct, noise::kPeakLoad,
       noise::kEasyPeakLoad);
  errors(desk, was, is);
  if (was.bitrate != is.bitrate)
    desk.say({Change::other,
              "bus.bitrate",
              "bus",
              was.name,
              fmt::format("{:.0f} bit/s before, {:.0f} bit/s after", was.bitrate, is.bitrate),
              was.bitrate,
              is.bitrate,
              "bit/s",
              false,
              {}});
}

void blindness(CompareDesk& desk, const SideFacts& side, const char* which) {
  const SideSummary& summary = side.summary;
  if (summary.blind_s > noise::kBlindShare * summary.duration_s)
    desk.out.doubts.push_back(
        fmt::format("{}: the recorder was blind for {} of {}; nothing is said of the machine for that time.",
                    which, span_words(summary.blind_s), span_words(summary.duration_s)));
  if (side.damaged_bytes > 0)
    desk.out.doubts.push_back(
        fmt::format("{}: {:.0f} bytes of the capture could not be read.", which, side.damaged_bytes));
  if (side.sliced)
    desk.out.doubts.push_back(fmt::format(
        "{}: a slice of a longer recording: it was cut where something happened, or for some controllers, so its "
        "load, shares and counts per hour are not those of the whole.",
        which));
  if (!side.nameless.empty())
    desk.out.doubts.push_back(fmt::format("{}: {} talked without saying who they are.", which,
                                          counted(side.nameless.size(), "address", "addresses")));
  if (summary.heard_s <= 0) desk.out.doubts.push_back(fmt::format("{}: nothing was heard at all.", which));
}

}  // namespace

void compare_buses(CompareDesk& desk) {
  // A machine with one bus on each side has the same bus, whatever the recorder called it.
  if (desk.before.buses.size() == 1 && desk.after.buses.size() == 1)
    return both(desk, desk.before.buses[0], desk.after.buses[0]);
  for (const BusFacts& was : desk.before.buses)
    for (const BusFacts& is : desk.after.buses)
      if (is.name == was.name) {
        both(desk, was, is);
        break;
      }
}

void tell_doubts(CompareDesk& desk) {
  const SideSummary &was = desk.before.summary, &is = desk.after.summary;
  std::vector<std::string>& doubts = desk.out.doubts;
  if (!was.files.empty() && was.files == is.files) doubts.push_back("Both sides are the same recording.");
  if (!was.machine.empty() && !is.machine.empty() && was.machine != is.machine)
    doubts.push_back(
        fmt::format("The rosters name different machines: \"{}\" and \"{}\".", was.machine, is.machine));
  if (!desk.numbers_compare()) {
    const bool both = was.is_private && is.is_private;
    doubts.push_back(fmt::format(
        "{} private: {} identity and serial numbers are stand-ins of that one parcel. So controllers are "
        "told apart by job and address alone, and whether a unit was replaced by another of its kind is not "
        "known.",
        both             ? "Both sides are"
        : was.is_private ? "The side before is"
                         : "The side after is",
        both ? "their" : "its"));
  }
  std::size_t common = 0;
  for (const ComparedParty& party : desk.parties.all) common += party.before && party.after;
  const std::size_t fewer = std::min(was.controllers, is.controllers);
  if (fewer > 0 && static_cast<double>(common) < noise::kCommonShare * static_cast<double>(fewer))
    doubts.push_back(fmt::format(
        "Only {} of {} and {} controllers are on both sides: perhaps these are not the same machine.", common,
        was.controllers, is.controllers));
  const double least = std::min(was.heard_s, is.heard_s), most = std::max(was.heard_s, is.heard_s);
  if (least > 0 && most > noise::kLengthRatio * least)
    doubts.push_back(
        fmt::format("The recordings are of very different length, {} and {}: what is rare may only have had "
                    "no time to come.",
                    span_words(was.heard_s), span_words(is.heard_s)));
  if (desk.before.has_roster != desk.after.has_roster)
    doubts.push_back("Only one side was held against a roster: who is missing is told for that side alone.");
  blindness(desk, desk.before, "Before");
  blindness(desk, desk.after, "After");
}

}  // namespace tramlog
