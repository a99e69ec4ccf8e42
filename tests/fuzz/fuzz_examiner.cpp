// Arbitrary events through the whole examiner and both renderers: no crash, text of at most 78 columns of
// plain ASCII, JSON that parses.
#include <array>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <nlohmann/json.hpp>
#include <vector>

#include "exam/examiner.hpp"
#include "report/format.hpp"

using namespace tramlog;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

// PGNs that the examiner reads, so that the fuzzer need not find them.
constexpr Pgn kPgns[] = {0xEE00, 0xEA00, 0xE800, 0xEC00, 0xEB00, 0xC800, 0xC700,  0xFEDA,  0xFDC5,  0xFC8D,
                         0xFEEB, 0xFC8E, 0xFECA, 0xFECB, 0xFE0D, 0xFE0C, 0xFE48,  0xF0E4,  0xDF00,  0xFED8,
                         0xF004, 0xC300, 0xFF01, 0xEF00, 0xE600, 0xCB00, 0x1F805, 0x1F801, 0x1F014, 0xFECC};

const char* const kRoster =
    "machine = \"m\"\n[[controller]]\nlabel = \"a\"\nname = { function = 128 }\nsoftware = [\"A*\"]\nsupply "
    "= \"s\"\n"
    "side = \"implement\"\n[[controller]]\nlabel = \"b\"\nname = { function = 134 }\nsupply = \"s\"\n"
    "[[controller]]\nlabel = \"c\"\nname = \"a0088000f3c10001\"\nrequired = false\n";

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Examiner examiner;
  TimeNs now = 1'700'000'000 * kSecond;
  std::uint64_t number = 0;
  const Notice infos[] = {BusInfo{"can0", 250000}, BusInfo{"can1", 0}};
  for (BusIndex b = 0; b < 2; ++b) {
    Event event;
    event.kind = EventKind::notice;
    event.notice = &infos[b];
    event.bus = b;
    examiner.take({&event, 1});
  }
  // Twelve bytes an event: kind and bus, time step, PGN, source, payload. The repeat count makes rhythms.
  for (; size >= 12; data += 12, size -= 12) {
    const unsigned repeats = 1 + (data[0] & 0x10 ? data[3] % 32 : 0);
    SpanNs step = static_cast<SpanNs>(data[1]) * data[1] * 200 * kMicrosecond;
    if (data[0] == 0xFF) step = -static_cast<SpanNs>(data[1]) * kMinute;
    if (data[0] == 0xFE) step = static_cast<SpanNs>(data[1]) * 24 * kHour;
    for (unsigned r = 0; r < repeats; ++r) {
      now += step;
      Event event;
      event.time = now;
      event.bus = data[0] & 1;
      event.data = data + 4;
      event.len = 8;
      Notice notice;
      switch (data[0] >> 1 & 7) {
        case 5:
          event.kind = EventKind::error;
          event.number = ++number;
          event.id = load_le32(data + 2) & 0x3FF;
          break;
        case 6: {
          event.kind = EventKind::notice;
          event.notice = &notice;
          switch (data[2] % 4) {
            case 0:
              notice = Counters{load_le32(data + 4), data[8], data[9]};
              break;
            case 1:
              notice = LinkChange{static_cast<LinkState>(data[4] % 3)};
              break;
            case 2:
              notice = FramesLost{data[4]};
              break;
            default:
              notice = Damage{data[4], data[5], "bytes", 0};
              break;
          }
          break;
        }
        case 7:
          event.number = ++number;
          event.flags = data[2] & (kExtendedId | kRemote | kFd | kShortData | kUntimed);
          event.len = data[3] % 9;
          event.id = load_le32(data + 4) & 0x1FFFFFFF;
          if (data[2] & 0x80) event.kind = EventKind::foreign;
          break;
        default:
          event.number = ++number;
          event.flags = kExtendedId;
          event.id = make_id(6, kPgns[data[2] % std::size(kPgns)], data[3], data[2] & 0x80 ? data[4] : 0xFF);
          event.len = (data[0] & 0x40) ? data[4] % 9 : 8;
          break;
      }
      examiner.take({&event, 1});
    }
  }
  const auto roster = parse_roster(kRoster, "r.toml");
  Report report;
  report.files = {"0123456789abcdef"};
  report.found = examiner.conclude(size % 2 ? std::optional<Roster>(roster.value()) : std::nullopt);

  const std::string text = find_format("text")->report(report, {});
  std::size_t column = 0;
  for (const char c : text) {
    column = c == '\n' ? 0 : column + 1;
    require(column <= 78);
    require(c == '\n' || (c >= 0x20 && c < 0x7F));
  }
  const std::string json = find_format("json")->report(report, {});
  require(nlohmann::json::accept(json));
  require(find_format("text")->rollcall(report, {}).size() > 0);
  require(nlohmann::json::accept(find_format("json")->rollcall(report, {})));
  return 0;
}
