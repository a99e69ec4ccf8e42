// Units that forget their address, supplies that are measured where they arrive, notes of the disk, and
// descriptions that are wrong.
#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <variant>

#include "base/bytes.hpp"
#include "io/capture_reader.hpp"
#include "stage/implement_spec.hpp"
#include "stage/play.hpp"
#include "stage/pool_writer.hpp"
#include "unit/stage/scratch.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

struct Frame {
  std::uint32_t id = 0;
  std::vector<std::uint8_t> data;
};
struct Capture {
  std::vector<Frame> frames;
  std::vector<RecorderNote> notes;
};

Capture played(const std::string& scenario) {
  Scratch scratch;
  REQUIRE(
      play_file(scratch.write("s.toml", scenario), scratch.path("c.pcapng"), scratch.path("t.json")).ok());
  auto source = CaptureSource::open({scratch.path("c.pcapng")});
  REQUIRE(source.ok());
  Capture capture;
  for (auto events = source->read(); !events.empty(); events = source->read())
    for (const Event& event : events) {
      if (event.kind == EventKind::frame)
        capture.frames.push_back({event.id, {event.data, event.data + event.len}});
      if (event.notice == nullptr) continue;
      if (const auto* note = std::get_if<RecorderNote>(event.notice)) capture.notes.push_back(*note);
    }
  return capture;
}

const std::string kHead = "title = \"odd\"\nstart = 2026-04-07T06:12:00Z\nseed = 9\nduration = 24\n";
std::string unit_named(const std::string& label, unsigned identity, const std::string& more) {
  return "[[controller]]\nlabel = \"" + label +
         "\"\nname = { function = 133, device_class = 4, identity = " + std::to_string(identity) +
         " }\naddress = " + std::to_string(0x80 + identity) + "\n" + more;
}

ImplementSpec drill_of_four(Trouble what) {
  ImplementSpec spec;
  spec.meters = {MeterSpec()};
  place_sections(spec, 4, 1500, -2000, 100 * kMillisecond, 100 * kMillisecond, 0);
  FaultSpec fault;
  fault.what = what;
  fault.section = 2;
  spec.faults = {fault};
  return spec;
}

}  // namespace

TEST_CASE(
    "a unit that forgets its address claims the next one of its list at each start and keeps the last") {
  const Capture capture =
      played(kHead + unit_named("a", 1, "later_addresses = [0x90, 0x95]\n") +
             "[[event]]\nat = 4\nwhat = \"restarts-itself\"\ncontroller = \"a\"\ntimes = [4, 9, 14]\n");
  std::vector<unsigned> claimed;
  for (const Frame& frame : capture.frames)
    if ((frame.id & 0x1FFFFFFF) >> 8 == 0x18EEFF) claimed.push_back(frame.id & 0xFF);
  CHECK(claimed == std::vector<unsigned>{0x81, 0x90, 0x95, 0x95});
}

TEST_CASE("each controller tells the voltage of its own supply") {
  const std::string tells =
      "  [[controller.message]]\n  pgn = 0xFEF7\n  period = 1.0\n  builder = \"battery-voltage\"\n";
  const Capture capture =
      played(kHead + "[power]\nalternator = 14.0\n[[supply]]\nname = \"far\"\ndrop = 1.5\n" +
             unit_named("near", 1, "supply = \"cab\"\n" + tells) +
             unit_named("away", 2, "supply = \"far\"\n" + tells));
  unsigned near = 0, away = 0;
  for (const Frame& frame : capture.frames) {
    if ((frame.id >> 8 & 0xFFFF) != 0xFEF7) continue;
    const double volts = load_le16(frame.data.data() + 4) * 0.05;
    // The last digit plays by one bit, 0.05 V.
    CHECK(volts == Approx((frame.id & 0xFF) == 0x81 ? 14.0 : 12.5).margin(0.051));
    ((frame.id & 0xFF) == 0x81 ? near : away) += 1;
  }
  CHECK(near >= 20);
  CHECK(away >= 20);
}

TEST_CASE("the recorder notes the trouble of its disk, and what it lost") {
  const Capture capture =
      played(kHead + unit_named("a", 1, "") +
             "[[event]]\nat = 6\nwhat = \"disk-trouble\"\ntext = \"full\"\n"
             "[[event]]\nat = 8\nwhat = \"disk-trouble\"\ntext = \"well again\"\ncount = 17\n");
  using Kind = RecorderNote::Kind;
  std::vector<std::pair<Kind, std::uint64_t>> told;
  for (const RecorderNote& note : capture.notes)
    if (note.kind == Kind::disk || note.kind == Kind::not_recorded) told.emplace_back(note.kind, note.number);
  CHECK(told == std::vector<std::pair<Kind, std::uint64_t>>{
                    {Kind::disk, 0}, {Kind::disk, 0}, {Kind::not_recorded, 17}});
  const auto refused = read_scenario_text(
      kHead + unit_named("a", 1, "") + "[[event]]\nat = 6\nwhat = \"disk-trouble\"\n", "s.toml");
  REQUIRE_FALSE(refused.ok());
  CHECK(refused.error().what.find("text") != std::string::npos);
}

TEST_CASE("sections that tell each other's place, and a description that is cut off") {
  // DPD of DDI 135: 'D' 'P' 'D', number, DDI .. is read by the examiner; here: the offsets in the order of
  // the bytes.
  const auto offsets = [](const Pool& pool) {
    std::vector<std::int32_t> found;
    for (std::size_t i = 0; i + 11 <= pool.bytes.size(); ++i)  // DPT: table, number, DDI, value
      if (pool.bytes[i] == 'D' && pool.bytes[i + 1] == 'P' && pool.bytes[i + 2] == 'T' &&
          load_le16(pool.bytes.data() + i + 5) == 135)
        found.push_back(static_cast<std::int32_t>(load_le32(pool.bytes.data() + i + 7)));
    return found;
  };
  // Drawbar, boom and antenna lie in the middle; four sections of 1.5 m around it.
  std::vector<std::int32_t> swapped = offsets(build_pool(drill_of_four(Trouble::order_swapped), 1));
  std::erase(swapped, 0);
  CHECK(swapped == std::vector<std::int32_t>{-2250, 750, -750, 2250});
  std::vector<std::int32_t> straight = offsets(build_pool(drill_of_four(Trouble::undeclared), 1));
  std::erase(straight, 0);
  CHECK(straight == std::vector<std::int32_t>{-2250, -750, 750, 2250});
  CHECK(build_pool(drill_of_four(Trouble::pool_broken), 1).bytes.size() + 5 ==
        build_pool(drill_of_four(Trouble::undeclared), 1).bytes.size());
}
