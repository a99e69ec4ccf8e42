#include "stage/play.hpp"

#include <zstd.h>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <vector>

#include "base/bytes.hpp"
#include "unit/stage/scratch.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

struct Seen {
  std::uint64_t time;
  std::uint32_t id;
  std::vector<std::uint8_t> data;
  std::uint64_t dropped;
};

// A small reader of its own: the packets and statistics blocks of a plain capture.
struct Capture {
  std::vector<Seen> frames;
  std::size_t statistics = 0;
  explicit Capture(const std::string& bytes) {
    const auto* at = reinterpret_cast<const std::uint8_t*>(bytes.data());
    const auto* end = at + bytes.size();
    while (at + 12 <= end) {
      const std::uint32_t length = load_le32(at + 4);
      REQUIRE(length >= 12);
      REQUIRE(length % 4 == 0);
      REQUIRE(load_le32(at + length - 4) == length);
      if (load_le32(at) == 5) ++statistics;
      if (load_le32(at) == 6) {
        const std::uint32_t stored = load_le32(at + 20);
        const std::uint8_t* options = at + 28 + (stored + 3) / 4 * 4;
        std::uint64_t dropped = 0;
        while (options + 4 < at + length - 4) {
          if (load_le16(options) == 4) dropped = load_le64(options + 4);
          options += 4 + (load_le16(options + 2) + 3) / 4 * 4;
        }
        frames.push_back({std::uint64_t{load_le32(at + 12)} << 32 | load_le32(at + 16), load_be32(at + 28),
                          std::vector<std::uint8_t>(at + 36, at + 28 + stored), dropped});
      }
      at += length;
    }
    CHECK(at == end);
  }
  std::size_t count(std::uint32_t id) const {
    std::size_t found = 0;
    for (const Seen& frame : frames) found += frame.id == (0x80000000u | id);
    return found;
  }
};

std::string unpacked(const std::string& packed) {
  std::string all;
  for (std::size_t at = 0; at < packed.size();) {
    const std::size_t size = ZSTD_findFrameCompressedSize(packed.data() + at, packed.size() - at);
    REQUIRE_FALSE(ZSTD_isError(size));
    std::string piece(ZSTD_getFrameContentSize(packed.data() + at, size), '\0');
    REQUIRE(ZSTD_decompress(piece.data(), piece.size(), packed.data() + at, size) == piece.size());
    all += piece;
    at += size;
  }
  return all;
}

const std::string kTwo = R"(title = "two"
start = 2026-04-07T06:12:00Z
seed = 5
duration = 12
[[controller]]
label = "a"
name = { function = 128, device_class = 4, identity = 1 }
address = 0x80
power_on = 0.1
software = ["A 1.0", "BOOT 2"]
  [[controller.message]]
  pgn = 0xFF10
  period = 0.1
  payload = "00 FF"
  vary = [ { byte = 1, how = "counter" } ]
[[controller]]
label = "b"
name = { function = 29, industry_group = 0, identity = 2 }
address = 0x26
power_on = 0.1
  [[controller.message]]
  pgn = 0xE600
  period = 0.5
  payload = "FE 80"
  [[controller.request]]
  pgn = 0xFEDA
  to = "each"
  after = 1.0
)";

struct Run {
  Scratch scratch;
  std::string bytes;
  nlohmann::json truth;
  explicit Run(const std::string& scenario, const PlayOptions& options = {}) {
    const auto played = play_file(scratch.write("s.toml", scenario), scratch.path("c.pcapng"),
                                  scratch.path("t.json"), options);
    INFO((played.ok() ? std::string() : played.error().what + " " + played.error().where));
    REQUIRE(played.ok());
    bytes = Scratch::read(scratch.path("c.pcapng"));
    truth = nlohmann::json::parse(Scratch::read(scratch.path("t.json")));
  }
  Capture capture() const { return Capture(bytes); }
};

}  // namespace

TEST_CASE("the same seed gives the same bytes, another seed others") {
  const Run one(kTwo), same(kTwo);
  PlayOptions other_seed;
  other_seed.seed = 6;
  const Run other(kTwo, other_seed);
  CHECK(one.bytes == same.bytes);
  CHECK(one.truth == same.truth);
  CHECK(one.bytes != other.bytes);
}

TEST_CASE("start-up: request for claims from 254, claim, quiet, then traffic; software over RTS/CTS") {
  const Run run(kTwo);
  const Capture capture = run.capture();
  CHECK(capture.frames.front().id == 0x98EAFFFE);
  std::uint64_t claim = 0, first = 0;
  for (const Seen& frame : capture.frames) {
    if (frame.id == 0x98EEFF80 && claim == 0) claim = frame.time;
    if (frame.id == 0x98FF1080 && first == 0) first = frame.time;
  }
  CHECK(first - claim >= 250'000'000);
  CHECK(capture.count(0x18EA8026) == 1);
  CHECK(capture.count(0x1CEC2680) == 1);  // RTS
  CHECK(capture.count(0x1CEB2680) == 2);
  CHECK(capture.count(0x1CEC8026) == 2);  // CTS and end of message
  CHECK(run.truth["controllers"][0]["software_reported_at"].is_string());
  CHECK(run.truth["transfer_counts"]["rts-cts"]["complete"] == 1);
  CHECK(run.truth["capture"]["frames"] == capture.frames.size());
  CHECK(capture.statistics == 13);
}

TEST_CASE("frames never overlap on the wire") {
  const Run run(kTwo);
  std::uint64_t last = 0;
  for (const Seen& frame : run.capture().frames) {
    const std::uint64_t least = (64 + 8 * frame.data.size()) * 4000;  // without stuff bits
    if (last != 0) CHECK(frame.time >= last + 3 * 4000 + least);
    last = frame.time;
  }
}

TEST_CASE("a controller that loses power claims again, one whose wire opens does not") {
  const Run power(kTwo + "[[event]]\nat = 5\nwhat = \"controller-off\"\ncontroller = \"a\"\nfor = 2\n");
  REQUIRE(power.truth["dropouts"].size() == 1);
  CHECK(power.truth["dropouts"][0]["reclaimed"] == true);
  CHECK(power.truth["dropouts"][0]["kind"] == "controller");
  const Run wire(kTwo + "[[event]]\nat = 5\nwhat = \"mute\"\ncontroller = \"a\"\nfor = 2\n");
  REQUIRE(wire.truth["dropouts"].size() == 1);
  CHECK(wire.truth["dropouts"][0]["reclaimed"] == false);
  CHECK(wire.truth["dropouts"][0]["end"].is_string());
}

TEST_CASE("a dead bus is silent while the statistics go on; a stopped logger writes neither") {
  const auto longest_gap = [](const Capture& capture) {
    std::uint64_t gap = 0;
    for (std::size_t i = 1; i < capture.frames.size(); ++i) {
      gap = std::max(gap, capture.frames[i].time - capture.frames[i - 1].time);
    }
    return gap;
  };
  const Run dead(kTwo + "[[event]]\nat = 5\nwhat = \"bus-dead\"\nfor = 3\n");
  CHECK(dead.truth["dropouts"].size() == 2);
  CHECK(dead.truth["dropouts"][0]["kind"] == "bus-silent");
  CHECK(dead.capture().statistics == 13);
  CHECK(longest_gap(dead.capture()) > 2'900'000'000);
  const Run stopped(kTwo + "[[event]]\nat = 4.5\nwhat = \"logger-stopped\"\nfor = 3\n");
  CHECK(stopped.truth["dropouts"].empty());
  CHECK(stopped.truth["blind"].size() == 1);
  CHECK(stopped.capture().statistics == 10);
}

TEST_CASE("a deaf logger tells how many frames it lost") {
  const Run run(kTwo + "[[event]]\nat = 5\nwhat = \"logger-deaf\"\nfor = 2\n");
  std::uint64_t told = 0;
  for (const Seen& frame : run.capture().frames) told += frame.dropped;
  CHECK(told > 20);
  CHECK(run.truth["blind"][0]["frames_lost"] == told);
  CHECK(Run(kTwo).capture().frames.size() == run.capture().frames.size() + told);
}

TEST_CASE("the lower NAME keeps a contested address, the loser moves or cannot claim") {
  const std::string rival = R"(
[[controller]]
label = "rival"
name = { function = 200, device_class = 4, identity = 9 }
address = 0x80
power_on = 4
asks_for_claims = false
)";
  const Run moves(kTwo + rival);
  CHECK(moves.truth["controllers"][2]["addresses"].back()["address"] == 129);
  CHECK(moves.truth["controllers"][0]["addresses"].size() == 1);
  const Run refused(kTwo + rival + "moves = false\n");
  CHECK(refused.truth["controllers"][2]["refused"] == true);
  CHECK(refused.capture().count(0x18EEFFFE) == 1);
}

TEST_CASE("transfers end as they are told to") {
  const auto outcome = [](const std::string& more) {
    const Run run(
        kTwo +
        "[[alter]]\ncontroller = \"a\"\n[[alter.transfer]]\npgn = 0xEF00\nat = 6\nsize = 100\nto = \"b\"\n" +
        more);
    std::vector<std::string> words;
    for (const auto& transfer : run.truth["transfers"]) {
      if (transfer["pgn"] == 0xEF00) words.push_back(transfer["outcome"]);
    }
    return words;
  };
  using Words = std::vector<std::string>;
  CHECK(outcome("") == Words{"complete"});
  CHECK(outcome("failure = \"abort-by-receiver\"\n") == Words{"aborted"});
  CHECK(outcome("failure = \"abort-by-sender\"\n") == Words{"aborted"});
  CHECK(outcome("failure = \"sender-stops\"\n") == Words{"timed-out"});
  CHECK(outcome("failure = \"receiver-silent\"\n") == Words{"timed-out"});
  CHECK(outcome("failure = \"interrupted\"\n") == Words{"interrupted", "complete"});
  CHECK(outcome("failure = \"repaired-packet\"\n") == Words{"complete"});
  CHECK(outcome("holds = 2\n") == Words{"complete"});
  CHECK(outcome("[[event]]\nat = 6.02\nwhat = \"logger-deaf\"\nfor = 0.03\n") == Words{"unseen"});
}

TEST_CASE("a DM1 comes at once, every second, and once more when all is gone") {
  const Run run(
      kTwo + "[[event]]\nat = 5\nwhat = \"dtc-set\"\ncontroller = \"a\"\nspn = 168\nfmi = 18\nfor = 3.5\n");
  CHECK(run.capture().count(0x18FECA80) == 5);
  REQUIRE(run.truth["dtcs"].size() == 1);
  CHECK(run.truth["dtcs"][0]["spn"] == 168);
  CHECK(run.truth["dtcs"][0]["cleared"].is_string());
}

TEST_CASE("as many frames as wanted, beyond the scenario's end") {
  PlayOptions options;
  options.frames = 5000;
  const Run run(kTwo, options);
  CHECK(run.capture().frames.size() == 5000);
}

TEST_CASE("damage is done to the finished file") {
  const Run healthy(kTwo), cut(kTwo + "[[damage]]\nhow = \"truncate\"\nat = -17\n");
  CHECK(cut.bytes.size() == healthy.bytes.size() - 17);
  const Run flipped(kTwo + "[[damage]]\nhow = \"flip\"\nat = 100\nbit = 3\n");
  CHECK((flipped.bytes[100] ^ healthy.bytes[100]) == 8);
}

TEST_CASE("a place that cannot be written is the environment's fault") {
  Scratch scratch;
  const auto played =
      play_file(scratch.write("s.toml", kTwo), "/nonexistent/c.pcapng", scratch.path("t.json"));
  REQUIRE_FALSE(played.ok());
  CHECK(played.error().kind == ErrorKind::environment);
}

TEST_CASE("the stored captures are what their scenarios make") {
  const auto cases = find_cases(std::string(TRAMLOG_SOURCE_DIR) + "/captures");
  REQUIRE(cases.ok());
  CHECK(cases.value().size() >= 30);
  for (const CaseFolder& one : cases.value()) {
    Scratch scratch;
    const std::string name = std::filesystem::path(one.capture).filename().string();
    REQUIRE(play_file(one.scenario, scratch.path(name), scratch.path("t.json")).ok());
    CHECK(Scratch::read(scratch.path("t.json")) == Scratch::read(one.truth));
    // Compressed bytes may differ with another Zstandard; what is in them may not.
    const bool plain = name.ends_with(".pcapng");
    const std::string made = Scratch::read(scratch.path(name)), stored = Scratch::read(one.capture);
    CHECK((plain ? made == stored : unpacked(made) == unpacked(stored)));
  }
}
