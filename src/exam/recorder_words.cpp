#include "exam/recorder_words.hpp"

#include <fmt/format.h>

#include "base/text.hpp"
#include "exam/words.hpp"
#include "isobus/process_data.hpp"
#include "isobus/network.hpp"

namespace tramlog {

const char* note_code(RecorderNote::Kind kind) {
  using Kind = RecorderNote::Kind;
  switch (kind) {
    case Kind::run_begins:
      return "run-begins";
    case Kind::run_ends:
      return "run-ends";
    case Kind::mark:
      return "mark";
    case Kind::clock_stepped:
      return "clock-stepped";
    case Kind::not_recorded:
      return "not-recorded";
    case Kind::disk:
      return "disk";
    case Kind::cut:
      return "cut";
    case Kind::known:
      return "known";
    case Kind::lost:
      return "lost";
    case Kind::interface:
      break;
  }
  return "interface";
}

std::string note_words(const RecorderNote& note) {
  using Kind = RecorderNote::Kind;
  const std::string text = printable_utf8(note.text);
  const std::string why = text.empty() ? "" : ": " + text;
  switch (note.kind) {
    case Kind::run_begins:
      return fmt::format("run {} of the recorder begins{}{}", note.number,
                         note.boot > 0 ? fmt::format(" (boot {})", note.boot) : "", why);
    case Kind::run_ends:
      return fmt::format("the run ends in good order{}", why);
    case Kind::mark:
      return fmt::format("the technician's note{}", why);
    case Kind::clock_stepped:
      return fmt::format("the system's clock was put {} by {}; the times here go on at their own pace{}",
                         note.span < 0 ? "back" : "forward", format_span(magnitude(note.span)), why);
    case Kind::not_recorded:
      return fmt::format("{} could not be recorded{}",
                         counted(note.number, "frame or notice", "frames and notices"), why);
    case Kind::disk:
      return fmt::format("the recording disk{}", why);
    case Kind::cut:
      return "slice of a longer recording" + why;
    case Kind::known: {
      if (note.number == RecorderNote::kNoPgn)
        return fmt::format("known at the cut: statistics came every {}", format_span(note.span));
      if (note.number == kPgnAddressClaimed && note.data.empty())
        return fmt::format("known at the cut: address {} talked without a NAME", note.address);
      if (note.number == kPgnAddressClaimed && note.data.size() >= 8) {
        const Name name = Name::from_claim(reinterpret_cast<const std::uint8_t*>(note.data.data()));
        return note.address >= kNullAddress
                   ? fmt::format("known at the cut: {} could not claim an address", function_term(name))
                   : fmt::format("known at the cut: {} has address {}", function_term(name), note.address);
      }
      if (note.number == kPgnProcessData)
        return fmt::format("known at the cut: part of the device description of address {}, {}", note.address,
                           counted(note.data.size(), "byte", "bytes"));
      return fmt::format("known at the cut: PGN {} of address {}, {}, {} before", note.number, note.address,
                         counted(note.data.size(), "byte", "bytes"), format_span(note.span));
    }
    case Kind::lost:
      if (lost_kind(note) == Damage::Kind::stamp)
        return fmt::format("a time stamp of the recording that this one was made from was put right here{}", why);
      if (lost_kind(note) == Damage::Kind::doubtful)
        return fmt::format("what was read of the recording that this one was made from may be wrong up to here{}", why);
      if (lost_kind(note) == Damage::Kind::breaks_off)
        return fmt::format("the recording that this one was made from breaks off here, {} of it could not be read{}",
                           counted(note.number, "byte", "bytes"), why);
      return fmt::format("{} of the recording that this one was made from {} lost here{}",
                         counted(note.number, "byte", "bytes"), note.number == 1 ? "was" : "were", why);
    case Kind::interface:
      break;
  }
  return fmt::format("the interface{}", why);
}

}  // namespace tramlog
