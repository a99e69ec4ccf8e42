// The recorder's own block: written and read back, damaged, unknown, too long.
#include <catch2/catch.hpp>

#include "io/block_encoder.hpp"
#include "unit/io/capture_bytes.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

using Kind = RecorderNote::Kind;

std::string encoded(const RecorderNote& note, TimeNs time = kT0, BusIndex bus = 0, unsigned buses = 2) {
  std::vector<std::uint8_t> bytes;
  BlockEncoder encoder(bytes);
  encoder.section();
  for (unsigned i = 0; i < buses; ++i) encoder.bus({"can" + std::to_string(i), 250'000});
  encoder.note(bus, time, note);
  return {bytes.begin(), bytes.end()};
}

RecorderNote full_note(Kind kind) {
  RecorderNote note;
  note.kind = kind;
  note.number = 0xFEDCBA9876543210u;
  note.boot = 42;
  note.span = -3 * kHour;
  note.text = "why: Säschiene";
  return note;
}

struct Placed {
  RecorderNote note;
  TimeNs time = 0;
  BusIndex bus = 0;
};
std::vector<Placed> notes_of(const Seen& seen) {
  std::vector<Placed> found;
  for (const SeenEvent& event : seen.events)
    if (const auto* note = event.as<RecorderNote>()) found.push_back({*note, event.event.time, event.event.bus});
  return found;
}

constexpr std::uint32_t kType = 0x80746C01;

/// A note block as its layout is told: kind, time high and low, interface, options.
std::string note_block(const BlockBuilder& build, bool big, std::uint32_t kind, std::uint64_t time, std::uint32_t interface,
                       const std::string& options) {
  ByteBuilder body(big);
  body.put(kind).put(static_cast<std::uint32_t>(time >> 32)).put(static_cast<std::uint32_t>(time)).put(interface);
  return build.block(kType, body.text(BlockBuilder::ended(options)).bytes);
}

bool whole_utf8(const std::string& text) {
  for (std::size_t i = 0; i < text.size();) {
    const auto lead = static_cast<unsigned char>(text[i]);
    const std::size_t length = lead < 0x80 ? 1 : lead >> 5 == 6 ? 2 : lead >> 4 == 14 ? 3 : lead >> 3 == 30 ? 4 : 0;
    if (length == 0 || i + length > text.size()) return false;
    for (std::size_t k = 1; k < length; ++k)
      if ((static_cast<unsigned char>(text[i + k]) & 0xC0) != 0x80) return false;
    i += length;
  }
  return true;
}

}  // namespace

TEST_CASE("A note of every kind is read back as it was written") {
  for (unsigned kind = 1; kind <= 7; ++kind)
    for (const bool of_bus : {false, true}) {
      INFO("kind " << kind);
      RecorderNote note = full_note(static_cast<Kind>(kind));
      note.of_bus = of_bus;
      const auto found = notes_of(read_bytes(encoded(note, kT0, 1)));
      REQUIRE(found.size() == 1);
      CHECK(found[0].time == kT0);
      CHECK(found[0].note.kind == note.kind);
      CHECK(found[0].note.of_bus == of_bus);
      if (of_bus) CHECK(found[0].bus == 1);
      CHECK(found[0].note.number == 0xFEDCBA9876543210u);
      CHECK(found[0].note.boot == 42);
      CHECK(found[0].note.span == -3 * kHour);
      CHECK(found[0].note.text == "why: Säschiene");
    }
}

TEST_CASE("An empty note is one, also where no interface is described") {
  RecorderNote note;
  note.kind = Kind::run_ends;
  const Seen seen = read_bytes(encoded(note, kT0, 0, 0));
  REQUIRE(notes_of(seen).size() == 1);
  CHECK(notes_of(seen)[0].note.text.empty());
  CHECK(seen.notices<Damage>().empty());
}

TEST_CASE("The block's bytes are those of its layout, in both byte orders") {
  for (const bool big : {false, true}) {
    const BlockBuilder build(big);
    const std::string options = build.option(1, "hello") + build.option_of(0x8002, std::uint64_t{9}) + build.option_of(0x8003, std::uint64_t{8}) +
                                build.option_of(0x8004, std::int64_t{-7});
    const std::string bytes =
        build.section() + build.nanosecond_bus("can0") + note_block(build, big, 3, static_cast<std::uint64_t>(kT0), 0, options);
    const auto found = notes_of(read_bytes(bytes));
    REQUIRE(found.size() == 1);
    CHECK(found[0].note.kind == Kind::mark);
    CHECK(found[0].note.of_bus);
    CHECK(found[0].time == kT0);
    CHECK(found[0].note.text == "hello");
    CHECK(found[0].note.number == 9);
    CHECK(found[0].note.boot == 8);
    CHECK(found[0].note.span == -7);
  }
  // And the encoder writes these very bytes.
  const BlockBuilder build;
  RecorderNote note;
  note.kind = Kind::mark;
  note.number = 9;
  note.span = -7;
  note.text = "hello";
  const std::string options = build.option(1, "hello") + build.option_of(0x8002, std::uint64_t{9}) + build.option_of(0x8004, std::int64_t{-7});
  CHECK(encoded(note, kT0, 0, 0) == build.section() + note_block(build, false, 3, static_cast<std::uint64_t>(kT0), 0xFFFFFFFF, options));
}

TEST_CASE("Two thousand bytes of characters of two, three and four bytes are cut to a thousand between two of them") {
  for (const std::string character : {"ä", "€", "\U0001F69C"})
    for (unsigned before = 0; before < 5; ++before) {
      RecorderNote note;
      note.text = std::string(before, '.');
      while (note.text.size() < 2'000) note.text += character;
      const auto found = notes_of(read_bytes(encoded(note)));
      REQUIRE(found.size() == 1);
      const std::string& text = found[0].note.text;
      INFO(character << " after " << before);
      CHECK(text.size() <= 1'000);
      CHECK(text.size() > 1'000 - character.size());
      CHECK(note.text.starts_with(text));
      CHECK(whole_utf8(text));
    }
  // Nothing but the middles of characters: cut all the same.
  RecorderNote broken;
  broken.text = std::string(2'000, '\x80');
  CHECK(notes_of(read_bytes(encoded(broken))).size() == 1);
  // Exactly what fits.
  RecorderNote fits;
  fits.text = std::string(998, 'x') + "ä";
  CHECK(notes_of(read_bytes(encoded(fits)))[0].note.text == fits.text);
}

TEST_CASE("A longer text than we write is cut by the reader, and not in the middle of a character") {
  const BlockBuilder build;
  std::string text = "x";
  while (text.size() < 60'000) text += "ä";
  const auto found = notes_of(read_bytes(build.section() + note_block(build, false, 3, 1, 0xFFFFFFFF, build.option(1, text))));
  REQUIRE(found.size() == 1);
  CHECK(found[0].note.text.size() < 10'000);
  CHECK(whole_utf8(found[0].note.text));
}

TEST_CASE("A kind that we do not know is passed over without a word, and what follows is read") {
  const BlockBuilder build;
  RecorderNote mark;
  mark.text = "after";
  const std::string after = encoded(mark, kT0, 0, 0).substr(build.section().size());
  for (const std::uint32_t kind : {0u, 11u, 99u, 0xFFFFFFFFu}) {
    const Seen seen = read_bytes(build.section() + note_block(build, false, kind, 1, 0xFFFFFFFF, build.option(1, "new")) + after);
    REQUIRE(notes_of(seen).size() == 1);
    CHECK(notes_of(seen)[0].note.text == "after");
    CHECK(seen.notices<Damage>().empty());
  }
}

TEST_CASE("Options of a wrong length and unknown ones are left out; the rest of the note is kept") {
  const BlockBuilder build;
  const std::string options = build.option_of(0x8002, std::uint32_t{5}) + build.option(0x8003, "") + build.option_of(0x9999, std::uint64_t{1}) +
                              build.option(1, "text");
  const auto found = notes_of(read_bytes(build.section() + note_block(build, false, 1, 1, 0xFFFFFFFF, options)));
  REQUIRE(found.size() == 1);
  CHECK(found[0].note.number == 0);
  CHECK(found[0].note.boot == 0);
  CHECK(found[0].note.text == "text");
}

TEST_CASE("A note on an interface that is not described, one that is too short, and broken options are damage") {
  const BlockBuilder build;
  const Seen no_bus = read_bytes(build.section() + build.nanosecond_bus("can0") + note_block(build, false, 7, 1, 5, build.option(1, "down")));
  CHECK(no_bus.notices<Damage>().size() == 1);
  CHECK(notes_of(no_bus).empty());
  const Seen tiny = read_bytes(build.section() + build.block(kType, std::string(8, '\x01')));
  CHECK(tiny.notices<Damage>().size() == 1);
  CHECK(notes_of(tiny).empty());
  const Seen broken = read_bytes(build.section() + note_block(build, false, 3, 1, 0xFFFFFFFF, std::string("\x01\x00\xF0\x00long", 8)));
  CHECK(broken.notices<Damage>().size() == 1);
}

TEST_CASE("A time at the end of what there is") {
  const BlockBuilder build;
  for (const std::uint64_t time : {std::uint64_t{0}, std::uint64_t{1} << 62, ~std::uint64_t{0}}) {
    const auto found = notes_of(read_bytes(build.section() + note_block(build, false, 3, time, 0xFFFFFFFF, "")));
    REQUIRE(found.size() == 1);
    CHECK(found[0].time >= 0);
  }
}

TEST_CASE("Notes cut anywhere, and with any byte changed, never break the reader") {
  std::string good = encoded(full_note(Kind::mark), kT0, 1);
  RecorderNote of_bus = full_note(Kind::interface);
  of_bus.of_bus = true;
  good += encoded(of_bus, kT0 + 1, 1).substr(BlockBuilder().section().size() + 2 * BlockBuilder().nanosecond_bus("can0").size());
  REQUIRE(notes_of(read_bytes(good)).size() == 2);
  for (std::size_t size = 0; size < good.size(); ++size)
    for (const Placed& found : notes_of(read_bytes(good.substr(0, size)))) CHECK(found.note.number == 0xFEDCBA9876543210u);
  for (std::size_t at = 0; at < good.size(); ++at)
    for (const unsigned value : {0x00u, 0x01u, 0x7Fu, 0x80u, 0xFFu}) {
      std::string bad = good;
      bad[at] = static_cast<char>(value);
      const Seen seen = read_bytes(bad);
      for (const Placed& found : notes_of(seen)) {
        REQUIRE(static_cast<unsigned>(found.note.kind) >= 1);
        REQUIRE(static_cast<unsigned>(found.note.kind) <= 7);
        REQUIRE(found.note.text.size() <= good.size());
      }
    }
}
