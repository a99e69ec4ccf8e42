// Damaged captures, mended: what is whole comes back as it was, nothing is invented, what was lost is told.
#include <zstd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdio>
#include <iostream>
#include <map>
#include <random>
#include <set>
#include <tuple>

#include "slice/mender.hpp"
#include "unit/io/capture_bytes.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

constexpr std::uint64_t kSeeds = 1000;
constexpr unsigned kPacketsHere = 120;

struct Blocks {
  std::vector<std::string> blocks;
  std::size_t heads = 0;  // section header and interfaces at the beginning
  std::string joined() const {
    std::string all;
    for (const std::string& block : blocks) all += block;
    return all;
  }
};

std::string note(const BlockBuilder& b, std::uint64_t ticks, const std::string& text) {
  ByteBuilder body(false);
  body.put(std::uint32_t{3})
      .put(static_cast<std::uint32_t>(ticks >> 32))
      .put(static_cast<std::uint32_t>(ticks));
  body.put(~std::uint32_t{0});
  return b.block(0x80746C01, body.text(b.ended(b.option(1, text))).bytes);
}

/// Packets 10 ms apart, each with an identifier and a payload of its own; statistics, a note and a block of a
/// kind that nobody knows.
Blocks healthy(unsigned buses) {
  const BlockBuilder b;
  Blocks made;
  made.blocks.push_back(b.section());
  for (unsigned i = 0; i < buses; ++i) made.blocks.push_back(b.nanosecond_bus("can" + std::to_string(i)));
  made.heads = made.blocks.size();
  for (unsigned i = 0; i < kPacketsHere; ++i) {
    const std::uint64_t time = kT0 + i * 10'000'000ull;
    std::string payload(8, '\0');
    for (std::size_t k = 0; k < 8; ++k) payload[k] = static_cast<char>((i * 37 + k * 11 + 5) & 0xFF);
    payload.resize(i % 7 == 0 ? 5 : 8);
    made.blocks.push_back(b.packet(time, can_packet(0x98FF0000 + i * 256 + 0x80, payload), i % buses,
                                   i % 5 == 0 ? b.option_of(2, std::uint32_t{1}) : ""));
    if (i % 30 == 29)
      made.blocks.push_back(b.statistics(time + 1, b.option_of(4, std::uint64_t{i + 1}), i % buses));
    if (i == 50) made.blocks.push_back(note(b, time + 2, "stone in the gate"));
    if (i == 70) made.blocks.push_back(b.block(0x80001234, "somebody else's block"));
  }
  return made;
}

using Frame = std::tuple<TimeNs, std::string, std::uint32_t, std::string>;  // time, bus, identifier, payload

std::vector<Frame> frames_of(const std::string& bytes) {
  const Seen seen = read_bytes(bytes);
  std::map<BusIndex, std::string> names;
  std::vector<Frame> found;
  for (const SeenEvent& one : seen.events) {
    if (const BusInfo* info = one.as<BusInfo>()) names[one.event.bus] = info->name;
    if (one.event.kind == EventKind::frame)
      found.emplace_back(one.event.time, names[one.event.bus], one.event.id, one.data);
  }
  return found;
}

struct Outcome {
  Mended mended;
  std::string bytes;
};

Outcome mend_bytes(TempFolder& folder, const std::string& damaged, const std::string& name = "damaged") {
  const std::string from = folder.write(name, damaged);
  const std::string to = folder.path("mended.pcapng");
  std::remove(to.c_str());
  auto mended = mend_capture(from, to);
  if (!mended) return {};
  return {std::move(mended.value()), folder.read("mended.pcapng")};
}

std::string packed(const std::string& bytes) {
  std::string out(ZSTD_compressBound(bytes.size()), '\0');
  out.resize(ZSTD_compress(out.data(), out.size(), bytes.data(), bytes.size(), 3));
  return out;
}

/// What is left of a multiset after what the other holds is taken away.
template <class T>
std::vector<T> without(std::vector<T> from, std::vector<T> taken) {
  std::sort(from.begin(), from.end());
  std::sort(taken.begin(), taken.end());
  std::vector<T> rest;
  std::set_difference(from.begin(), from.end(), taken.begin(), taken.end(), std::back_inserter(rest));
  return rest;
}

}  // namespace

TEST_CASE("a healthy capture is mended to the same bytes") {
  TempFolder folder;
  const std::string bytes = healthy(GENERATE(1u, 2u)).joined();
  const Outcome plain = mend_bytes(folder, bytes);
  CHECK(plain.bytes == bytes);
  CHECK(plain.mended.losses == 0);
  CHECK(plain.mended.packets == kPacketsHere);
  CHECK(plain.mended.other == 6);
  CHECK(mend_bytes(folder, packed(bytes)).bytes == bytes);
}

TEST_CASE("swapped packets are put back, a clock that steps back is left") {
  TempFolder folder;
  const Blocks good = healthy(1);
  Blocks swapped = good;
  std::swap(swapped.blocks[5], swapped.blocks[90]);
  std::swap(swapped.blocks[20], swapped.blocks[21]);
  const Outcome back = mend_bytes(folder, swapped.joined());
  CHECK(back.bytes == good.joined());
  CHECK(back.mended.moved >= 3);
  CHECK(back.mended.losses == 0);
  CHECK(back.mended.steps.empty());

  const BlockBuilder b;
  std::string stepping = b.section() + b.nanosecond_bus("can0");
  for (unsigned i = 0; i < 400; ++i)
    stepping += b.packet(kT0 + i * 1'000'000ull - (i >= 150 ? 40'000'000ull : 0),
                         can_packet(0x98FF0080, std::string(8, 'x')));
  const Outcome stepped = mend_bytes(folder, stepping);
  CHECK(stepped.bytes == stepping);
  REQUIRE(stepped.mended.steps.size() == 1);
  CHECK(stepped.mended.steps[0].before == kT0 + 149'000'000);
  CHECK(stepped.mended.steps[0].after == kT0 + 110'000'000);
  CHECK(stepped.mended.moved == 0);
}

TEST_CASE("a loss is told in the list and in the mended capture, once") {
  TempFolder folder;
  const Blocks good = healthy(1);
  std::string bytes;
  for (std::size_t i = 0; i < good.blocks.size(); ++i)
    bytes += i == 10 ? std::string(good.blocks[i].size(), '\0') : good.blocks[i];
  const Outcome mended = mend_bytes(folder, bytes);
  REQUIRE(mended.mended.lost.size() == 1);
  CHECK(mended.mended.lost[0].bytes == good.blocks[10].size());
  CHECK(mended.mended.lost[0].after == kT0 + 70'000'000);
  CHECK(mended.mended.lost[0].before == kT0 + 90'000'000);
  const Seen seen = read_bytes(mended.bytes);
  CHECK(seen.notices<Damage>().empty());
  const auto notes = seen.notices<RecorderNote>();
  REQUIRE(notes.size() == 2);
  CHECK(notes[0].kind == RecorderNote::Kind::lost);
  CHECK(notes[0].number == good.blocks[10].size());
  CHECK(notes[0].span == 20'000'000);
  CHECK(notes[1].text == "stone in the gate");
  CHECK(mend_bytes(folder, mended.bytes).mended.losses == 0);
}

TEST_CASE("classic pcap becomes pcapng with the same frames") {
  TempFolder folder;
  const bool big = GENERATE(false, true), nano = GENERATE(false, true);
  std::string bytes = pcap_header(big, nano);
  for (unsigned i = 0; i < 50; ++i)
    bytes += pcap_record(big, 1'700'000'000 + i, 5 + i, can_packet(0x98FF0080 + i, std::string(8, 'p')));
  const auto frames = frames_of(mend_bytes(folder, bytes).bytes);
  REQUIRE(frames.size() == 50);
  for (unsigned i = 0; i < 50; ++i)
    CHECK(frames[i] == Frame{(1'700'000'000ll + i) * kSecond + (5 + i) * (nano ? 1 : 1000), "bus0",
                             0x18FF0080 + i, std::string(8, 'p')});
}

TEST_CASE("the input is never overwritten, and no file is no capture") {
  TempFolder folder;
  const std::string bytes = healthy(1).joined();
  const std::string path = folder.write("only.pcapng", bytes);
  CHECK(mend_capture(path, path).error().kind == ErrorKind::usage);
  CHECK(folder.read("only.pcapng") == bytes);
  CHECK(mend_capture(folder.path("missing"), folder.path("out")).error().kind == ErrorKind::input);
}

TEST_CASE(
    "a thousand copies of a classic pcap with bytes missing: only the records that lack them are lost") {
  TempFolder folder;
  constexpr unsigned kRecords = 60;
  for (std::uint64_t seed = 1; seed <= kSeeds; ++seed) {
    std::mt19937_64 random(seed);
    const auto below = [&](std::size_t bound) { return static_cast<std::size_t>(random() % bound); };
    const bool big = seed % 2 == 0, nano = seed % 3 == 0;
    std::set<std::size_t> hit;
    for (std::size_t wounds = 1 + below(3); wounds > 0; --wounds) hit.insert(below(kRecords - 3));
    std::string good = pcap_header(big, nano), bytes = good;
    for (std::size_t i = 0; i < kRecords; ++i) {
      std::string payload(i % 7 == 0 ? 5 : 8, '\0');
      for (char& c : payload) c = static_cast<char>(random());
      std::string record = pcap_record(big, static_cast<std::uint32_t>(1'700'000'000 + i / 20),
                                       static_cast<std::uint32_t>(i % 20 * 40'000),
                                       can_packet(static_cast<std::uint32_t>(0x98FF0080 + i * 256), payload));
      good += record;
      // Two in a row would leave no pair to tell them by.
      if (hit.count(i) > 0 && hit.count(i + 1) + hit.count(i + 2) == 0) {
        const std::size_t missing = 1 + below(4);
        record.erase(below(record.size() - missing + 1), missing);
      } else {
        hit.erase(i);
      }
      bytes += record;
    }
    const std::vector<Frame> originals = frames_of(mend_bytes(folder, good).bytes);
    REQUIRE(originals.size() == kRecords);
    std::vector<Frame> expected;
    for (std::size_t i = 0; i < kRecords; ++i)
      if (hit.count(i) == 0) expected.push_back(originals[i]);
    const Outcome outcome = mend_bytes(folder, bytes);
    INFO("seed " << seed << ", " << hit.size() << " records hit");
    const std::vector<Frame> got = frames_of(outcome.bytes);
    CHECK(without(expected, got).size() == 0);
    CHECK(without(got, originals).size() == 0);
    CHECK(got.size() == expected.size());
    CHECK((outcome.mended.losses > 0) == !hit.empty());
  }
}

namespace {

/// Packets 100 ms apart with statistics every second.
std::vector<std::string> long_run(std::size_t packets) {
  const BlockBuilder b;
  std::vector<std::string> blocks;
  for (std::size_t i = 0; i < packets; ++i) {
    const std::uint64_t time = static_cast<std::uint64_t>(kT0) + i * 100'000'000;
    const auto number = static_cast<std::uint32_t>(i);
    blocks.push_back(
        b.packet(time, can_packet(0x98FF0080, ByteBuilder(false).put(number).put(number).bytes)));
    if (i % 10 == 9) blocks.push_back(b.statistics(time + 1, b.option_of(4, std::uint64_t{i + 1})));
  }
  return blocks;
}

/// 400 packets 100 ms apart; behind the 200th the clock is put back.
std::vector<std::string> with_step_back(SpanNs step) {
  const BlockBuilder b;
  std::vector<std::string> blocks;
  for (std::size_t i = 0; i < 400; ++i)
    blocks.push_back(
        b.packet(static_cast<std::uint64_t>(kT0) + i * 100'000'000 - static_cast<std::uint64_t>(i >= 200 ? step : 0),
                 can_packet(0x98FF0080, ByteBuilder(false).put(i).bytes)));
  return blocks;
}

std::string with_head(const std::vector<std::string>& blocks) {
  const BlockBuilder b;
  std::string bytes = b.section() + b.nanosecond_bus("can0");
  for (const std::string& block : blocks) bytes += block;
  return bytes;
}

void flip(std::string& block, unsigned bit) {
  // The upper half of the time stands first.
  const std::size_t at = 12 + (bit >= 32 ? 0 : 4) + bit % 32 / 8;
  block[at] = static_cast<char>(block[at] ^ (1 << bit % 8));
}

}  // namespace

TEST_CASE("single time stamps that a bit has thrown far away are put right, and the mended capture says so") {
  TempFolder folder;
  const std::vector<std::string> good = long_run(400);
  std::vector<std::string> hit = good;
  // Years away, days before; within the recording, but a bit says it; one of the statistics; the first and
  // the last.
  const std::vector<std::pair<std::size_t, unsigned>> flips = {{0, 50},   {40, 60},  {90, 48}, {150, 33},
                                                               {208, 45}, {438, 44}, {439, 55}};
  for (const auto& [at, bit] : flips) flip(hit[at], bit);
  const Outcome outcome = mend_bytes(folder, with_head(hit));
  CHECK(frames_of(outcome.bytes) == frames_of(with_head(good)));
  CHECK(outcome.mended.stamps == flips.size());
  CHECK(outcome.mended.moved == 0);
  CHECK(outcome.mended.losses == 0);
  const auto notes = read_bytes(outcome.bytes).notices<RecorderNote>();
  REQUIRE(notes.size() == flips.size());
  for (const RecorderNote& note : notes) CHECK(lost_kind(note) == Damage::Kind::stamp);
  // Once put right it is right.
  CHECK(mend_bytes(folder, outcome.bytes).mended.stamps == 0);
}

TEST_CASE("a time stamp of microseconds gets the one before it") {
  TempFolder folder;
  const BlockBuilder b;
  std::string bytes = b.section() + b.interface(b.option(2, "can0"));
  std::vector<TimeNs> expected;
  for (std::uint64_t i = 0; i < 60; ++i) {
    const std::uint64_t ticks = 1'700'000'000'000'000 + i * 1000;
    bytes += b.packet(i == 30 ? ticks / 2 : ticks, can_packet(0x98FF0080, "12345678"));
    expected.push_back(static_cast<TimeNs>(i == 30 ? ticks - 1000 : ticks) * 1000);
  }
  const auto frames = frames_of(mend_bytes(folder, bytes).bytes);
  std::vector<TimeNs> times;
  for (const Frame& frame : frames) times.push_back(std::get<0>(frame));
  CHECK(times == expected);
}

TEST_CASE("a clock that stepped is left alone beside stamps that were hit") {
  TempFolder folder;
  const std::vector<std::string> good = with_step_back(15 * kSecond);
  std::vector<std::string> hit = good;
  flip(hit[100], 58);
  flip(hit[300], 57);
  const Outcome outcome = mend_bytes(folder, with_head(hit));
  CHECK(frames_of(outcome.bytes) == frames_of(with_head(good)));
  CHECK(outcome.mended.stamps == 2);
  CHECK(outcome.mended.steps.size() == 1);
  CHECK(outcome.mended.sorted.empty());
}

TEST_CASE("parts of a file in the wrong order are sorted") {
  TempFolder folder;
  const std::vector<std::string> good = long_run(800);
  const std::size_t quarter = good.size() / 4;
  const auto part = [&](std::size_t q) {
    return std::vector<std::string>(good.begin() + static_cast<std::ptrdiff_t>(q * quarter),
                                    good.begin() + static_cast<std::ptrdiff_t>((q + 1) * quarter));
  };
  const std::vector<std::size_t> order =
      GENERATE(std::vector<std::size_t>{0, 2, 1, 3}, std::vector<std::size_t>{0, 1, 3, 2},
               std::vector<std::size_t>{3, 2, 1, 0}, std::vector<std::size_t>{2, 3, 0, 1});
  std::vector<std::string> shuffled;
  for (const std::size_t q : order)
    for (const std::string& block : part(q)) shuffled.push_back(block);
  const Outcome outcome = mend_bytes(folder, with_head(shuffled));
  CHECK(outcome.bytes == with_head(good));
  CHECK(outcome.mended.sorted.size() >= 2);
  CHECK(outcome.mended.steps.empty());
  CHECK(outcome.mended.losses == 0);
  CHECK(mend_bytes(folder, with_head(good)).mended.sorted.empty());

  // The middle of a block lost where two parts meet: told where it is, and without the part between.
  shuffled[quarter - 1].resize(20);
  const Outcome torn = mend_bytes(folder, with_head(shuffled));
  CHECK(torn.mended.sorted.size() >= 2);
  REQUIRE(torn.mended.lost.size() == 1);
  const LostPart& lost = torn.mended.lost[0];
  if (lost.after && lost.before) CHECK(*lost.before - *lost.after <= kSecond);
  CHECK(frames_of(torn.bytes).size() >= 799);
}

TEST_CASE("a header in the middle of a file parts it: that times go back there is told, and nothing moves") {
  TempFolder folder;
  const std::vector<std::string> good = long_run(400);
  const auto half = good.begin() + static_cast<std::ptrdiff_t>(good.size() / 2);
  std::string bytes;
  for (auto block = half; block != good.end(); ++block) bytes += *block;
  bytes += with_head({good.begin(), half});
  const Outcome outcome = mend_bytes(folder, bytes);
  CHECK(frames_of(outcome.bytes).size() == 400);
  CHECK(outcome.mended.sorted.empty());
  CHECK(outcome.mended.moved == 0);
  REQUIRE(outcome.mended.steps.size() == 1);
  CHECK(outcome.mended.steps[0].before - outcome.mended.steps[0].after > 39 * kSecond);
}

TEST_CASE("a clock that was put back makes no parts in the wrong order") {
  TempFolder folder;
  // Behind the step the times lie all before those of the first part, and do not meet them.
  const std::vector<std::string> blocks = with_step_back(kHour);
  const Outcome outcome = mend_bytes(folder, with_head(blocks));
  CHECK(outcome.bytes == with_head(blocks));
  CHECK(outcome.mended.sorted.empty());
  CHECK(outcome.mended.steps.size() == 1);
}

TEST_CASE("where a recording breaks off is told in the list and in the mended capture") {
  TempFolder folder;
  std::string bytes = with_head(long_run(200));
  bytes.resize(bytes.size() / 2 + 7);
  const Outcome outcome = mend_bytes(folder, bytes);
  REQUIRE(outcome.mended.lost.size() == 1);
  CHECK(outcome.mended.lost[0].kind == Damage::Kind::breaks_off);
  const auto notes = read_bytes(outcome.bytes).notices<RecorderNote>();
  REQUIRE(notes.size() == 1);
  CHECK(lost_kind(notes[0]) == Damage::Kind::breaks_off);
}

// What cannot be known: pcapng has no checksum. A bit that flips within a block may leave a block that is as
// good as any other, with another time, bus, identifier or payload: so a damaged block may give one frame,
// whatever it says. And where the description of an interface is hit, its name and the unit of its times are
// lost: then frames are compared by identifier and payload alone.
TEST_CASE("a thousand damaged copies: every whole frame is recovered, none is invented") {
  TempFolder folder;
  std::uint64_t recovered = 0, told = 0;
  for (std::uint64_t seed = 1; seed <= kSeeds; ++seed) {
    std::mt19937_64 random(seed);
    const auto below = [&](std::size_t bound) { return static_cast<std::size_t>(random() % bound); };
    const unsigned buses = seed % 2 == 0 ? 1 : 2;
    const bool compressed = seed % 3 == 0;
    const Blocks good = healthy(buses);
    std::vector<std::string> blocks = good.blocks;
    std::vector<std::string> whole;  // the originals, in the order of `blocks`
    // Of two descriptions, which is first cannot be known; a single one, and the section header, may stand
    // anywhere.
    const std::size_t first = buses == 1 ? 0 : good.heads;
    if (below(2) == 0)
      for (std::size_t swaps = 1 + below(3); swaps > 0; --swaps)
        std::swap(blocks[first + below(blocks.size() - first)], blocks[first + below(blocks.size() - first)]);
    whole = blocks;

    // The pieces that damage falls on: the blocks, or Zstandard frames of some blocks each.
    std::vector<std::string> pieces;
    std::vector<std::size_t> piece_of(blocks.size());
    for (std::size_t i = 0; i < blocks.size();) {
      const std::size_t count = compressed ? std::min<std::size_t>(12, blocks.size() - i) : 1;
      std::string piece;
      for (std::size_t k = 0; k < count; ++k, ++i) {
        piece += blocks[i];
        piece_of[i] = pieces.size();
      }
      pieces.push_back(compressed ? packed(piece) : piece);
    }
    std::string bytes;
    std::vector<std::size_t> owner;
    for (std::size_t p = 0; p < pieces.size(); ++p) {
      bytes += pieces[p];
      owner.resize(bytes.size(), p);
    }
    std::set<std::size_t> hit;
    const auto spoil = [&](std::size_t at, char value) {
      if (bytes[at] == value) return;
      bytes[at] = value;
      hit.insert(owner[at]);
    };
    for (std::size_t wounds = 1 + below(3); wounds > 0; --wounds) {
      switch (below(3)) {
        case 0: {
          const std::size_t at = below(bytes.size()), length = std::min(bytes.size() - at, 1 + below(300));
          const bool zeros = below(2) == 0;
          for (std::size_t i = at; i < at + length; ++i) spoil(i, zeros ? '\0' : static_cast<char>(random()));
          break;
        }
        case 1:
          for (std::size_t flips = 1 + below(4); flips > 0; --flips) {
            const std::size_t at = below(bytes.size());
            spoil(at, static_cast<char>(bytes[at] ^ (1 << below(8))));
          }
          break;
        default:
          if (below(4) == 0) {
            const std::size_t size = bytes.size() / 2 + below(bytes.size() / 2);
            for (std::size_t i = size; i < bytes.size(); ++i) hit.insert(owner[i]);
            bytes.resize(size);
            owner.resize(size);
          }
      }
    }

    bool head_hit = false;
    std::size_t damaged_blocks = 0;
    std::string undamaged;
    std::vector<Frame> originals = frames_of(good.joined()), expected;
    std::map<std::string, Frame> frame_of;
    for (std::size_t i = good.heads, k = 0; i < good.blocks.size(); ++i)
      if (load_le32(as_bytes(good.blocks[i]).data()) == 6) frame_of[good.blocks[i]] = originals[k++];
    for (std::size_t i = 0; i < blocks.size(); ++i) {
      const bool damaged = hit.count(piece_of[i]) > 0;
      const std::uint32_t type = load_le32(as_bytes(whole[i]).data());
      if (damaged && (type == 1 || type == 0x0A0D0D0A)) head_hit = true;
      damaged_blocks += damaged;
      if (!damaged && type == 6) expected.push_back(frame_of.at(whole[i]));
    }

    const Outcome outcome = mend_bytes(folder, bytes);
    INFO("seed " << seed << (compressed ? " compressed" : "") << ", " << hit.size() << " pieces hit"
                 << (head_hit ? ", a head too" : ""));
    if (outcome.bytes.empty()) {
      // No capture any more: only if hardly anything is left of it.
      CHECK(expected.size() < 3);
      continue;
    }
    std::vector<Frame> got = frames_of(outcome.bytes);
    if (head_hit)
      for (auto* list : {&got, &expected, &originals})
        for (Frame& frame : *list) {
          std::get<0>(frame) = 0;
          std::get<1>(frame).clear();
        }
    const auto lacking = without(expected, got);
    const auto invented = without(got, originals);
    CHECK(lacking.size() == 0);
    CHECK(invented.size() <= damaged_blocks);
    CHECK(got.size() <= expected.size() + damaged_blocks);
    // All of it can be read. A stamp that mending was not sure of may be left.
    for (const Damage& damage : read_bytes(outcome.bytes).notices<Damage>())
      CHECK(damage.kind == Damage::Kind::stamp);
    recovered += expected.size() - lacking.size();
    told += outcome.mended.losses > 0;
  }
  std::cout << "seeds 1 to " << kSeeds << ": " << recovered << " whole frames recovered, losses told in "
            << told << " copies\n";
  CHECK(told > kSeeds / 3);
}
