#include <catch2/catch.hpp>
#include <cmath>

#include "base/text.hpp"
#include "exam/stream_roles.hpp"
#include "implement/implement_watch.hpp"
#include "isobus/transfers.hpp"
#include "parcel/highlights.hpp"
#include "parcel/made_up_track.hpp"
#include "parcel/private_bus.hpp"
#include "parcel/private_roster.hpp"
#include "parcel/private_rules.hpp"
#include "parcel/private_terms.hpp"

using namespace tramlog;

namespace {

Bytes bytes_of(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

std::string replaced(const PrivateTerms& terms, std::string text) {
  terms.replace_field({reinterpret_cast<std::uint8_t*>(text.data()), text.size()});
  return text;
}

}  // namespace

TEST_CASE("Identities keep their order and are never somebody's true one") {
  PrivateTerms terms;
  for (const std::uint64_t name :
       {0xA000000000E00003ull, 0xA000000000E00001ull, 0xA0000000001FFFF0ull, 0xA000000000E12345ull})
    CHECK(terms.learn_name(Name(name)));
  terms.settle();
  // 1 and 3 are true ones.
  CHECK(terms.stand_in(1u) == 2);
  CHECK(terms.stand_in(3u) == 4);
  CHECK(terms.stand_in(0x12345u) == 5);
  CHECK(terms.stand_in(0x1FFFF0u) == 6);
  CHECK(terms.stand_in(0u) == 0);
  CHECK(terms.stand_in(Name(~0ull)) == Name(~0ull));
  CHECK(terms.stand_in(Name(0xA000000000E12345ull)) == Name(0xA000000000E00005ull));
}

TEST_CASE("A serial has one stand-in of its length, padding stays") {
  PrivateTerms terms;
  CHECK(terms.learn_serial(bytes_of("AB-1234")));
  CHECK(terms.learn_serial(bytes_of("  AB-1234  ")));
  CHECK(terms.learn_serial(bytes_of("0000001")));
  CHECK(terms.learn_serial(bytes_of("7")));
  terms.learn_label(bytes_of("-1234"));
  terms.learn_label(bytes_of("DRILL01"));
  terms.settle();
  CHECK(terms.serials().size() == 4);
  const std::string stand_in = replaced(terms, "AB-1234");
  CHECK(stand_in.size() == 7);
  CHECK(stand_in != "AB-1234");
  CHECK(stand_in != "0000001");
  CHECK(replaced(terms, "AB-1234   ") == stand_in + "   ");
  CHECK(replaced(terms, "AB-9999") == "???????");
  CHECK(replaced(terms, "0000") == "0000");
  CHECK(replaced(terms, "7") != "7");
  CHECK(terms.replaced_text("software 4.2 of AB-1234, label DRILL01") ==
        "software 4.2 of " + stand_in + ", label DRILL01");
  CHECK(terms.replaced_text("label -1234").find("1234") == std::string::npos);
  CHECK(terms.replaced_text("seven is 7") == "seven is 7");
}

TEST_CASE("What says that there is no identity or serial is nobody's") {
  PrivateTerms terms;
  CHECK(terms.learn_name(Name(0xA000840000600000)));
  for (const char* word : {"unknown", " Controller ", "N/A", "n/a.", "NOT AVAILABLE", "---", "????", "0000",
                           "xxxx", "0-0-0", "Serial No."})
    CHECK(terms.learn_serial(bytes_of(word)));
  CHECK(terms.names().empty());
  CHECK(terms.identities().empty());
  CHECK(terms.serials().empty());
  CHECK(terms.learn_serial(bytes_of("00-01")));
  CHECK(terms.learn_serial(bytes_of("\x01\x02\x03")));
  terms.settle();
  CHECK(terms.serials().size() == 2);
  CHECK(replaced(terms, "unknown") == "unknown");
  CHECK(terms.replaced_text("a000840000600000 unknown") == "a000840000600000 unknown");
  CHECK(PrivateTerms::is_telling_text("SN-77"));
  CHECK_FALSE(PrivateTerms::is_telling_text("seeder"));
  CHECK_FALSE(PrivateTerms::is_telling_text("K7"));
}

TEST_CASE("A made-up track is as long as the true one and stands when that stands") {
  MadeUpTrack track(1e-7);
  CHECK(track.next({521234567, 107654321}) == GridPosition{0, 0});
  CHECK(track.next({521234567, 107654321}) == GridPosition{0, 0});
  CHECK(track.next({521244567, 107654321}) == GridPosition{10000, 0});
  const GridPosition east = track.next({521244567, 107664321});
  CHECK(east.latitude == Approx(10000 + 10000 * std::cos(52.1244567 * 3.14159265358979 / 180)).margin(1));
  const GridPosition back = track.next({521244567, 107664320});
  CHECK(back.latitude > east.latitude);
  for (int i = 0; i < 50; ++i) {
    const GridPosition far = track.next({i % 2 == 0 ? 890'000'000 : -890'000'000, 0});
    CHECK(std::abs(far.latitude) <= 800'000'001);
    CHECK(far.longitude == 0);
  }
}

TEST_CASE("Positions that are none stay none, halves tell nothing") {
  PrivateTerms terms;
  terms.settle();
  PrivateRules rules;
  const MessageHead rapid{0, 129025, 0x1C, 0xFF};
  std::vector<std::uint8_t> none{0xFF, 0xFF, 0xFF, 0x7F, 0xFF, 0xFF, 0xFF, 0x7F};
  const auto before = none;
  rules.rewrite(rapid, none, terms);
  CHECK(none == before);
  std::vector<std::uint8_t> half{0xFF, 0xFF, 0xFF, 0x7F, 0x31, 0xAB, 0x6A, 0x06};
  CHECK(tells_true_position(rapid, half));
  rules.rewrite(rapid, half, terms);
  CHECK(half == std::vector<std::uint8_t>{0xFF, 0xFF, 0xFF, 0x7F, 0, 0, 0, 0});
  std::vector<std::uint8_t> exchanged{0x31, 0xAB, 0x6A, 0x46,
                                      0x31, 0xAB, 0x6A, 0x06};  // a latitude of 118 degrees
  rules.rewrite(rapid, exchanged, terms);
  CHECK(load_le32(exchanged.data()) == 1'800'000'001u);
  CHECK(load_le32(exchanged.data() + 4) == 0);
}

TEST_CASE("Whose messages are whose business") {
  PrivateRules rules;
  const auto opaque = [&](Pgn pgn) { return rules.is_opaque({0, pgn, 0x80, 0xFF}); };
  for (const Pgn pgn : {61184u, 126720u, 65280u, 65535u, 130816u, 131071u, 65131u, 129027u, 65500u, 0x9300u,
                        0xD700u, 0xD800u, 0x8E00u, 0x8D00u, 64834u, 0x7C00u, 0xCA00u, 0x6F00u, 127489u})
    CHECK(opaque(pgn));
  for (const Pgn pgn :
       {0xEE00u, 0xCB00u, 0xFEDAu, 0xFE48u, 129025u, 129029u, 0xE700u, 0xAB00u, 0xFECAu, 61444u}) {
    INFO(pgn);
    CHECK_FALSE(opaque(pgn));
  }
}

TEST_CASE("Terminals and task controllers may say numbers, not texts") {
  PrivateTerms terms;
  terms.settle();
  PrivateRules rules;
  const auto said = [&](Pgn pgn, std::vector<std::uint8_t> data) {
    rules.rewrite({0, pgn, 0x80, 0x26}, data, terms);
    return data;
  };
  using Data = std::vector<std::uint8_t>;
  const Data number{0xA8, 1, 0, 0xFF, 1, 2, 3, 4}, status{0xFE, 0x80, 1, 0, 2, 0, 0, 0};
  CHECK(said(0xE700, number) == number);
  CHECK(said(0xE600, status) == status);
  CHECK(said(0xE700, {0xB3, 1, 0, 2, 0, 'J', 'o', ' '}) == Data{0xB3, 1, 0, 2, 0, 0xFF, 0xFF, 0xFF});
  CHECK(said(0xE700, {0xAF, 1, 0, 9, 'J', 'o', 'h', 'n'}) == Data{0xAF, 1, 0, 9, 0xFF, 0xFF, 0xFF, 0xFF});
  for (const std::uint8_t function : Data{0xB8, 0xD0, 0xD3, 0xB5, 0x24, 0x66, 0xE0})
    CHECK(said(0xE700, {function, 'J', 'o', 'h', 'n', 'S', '9', '9', '7'}) ==
          Data{function, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  CHECK(said(0xE600, {0xE0, 1, 'J', 'o', 'h', 'n'}) == Data{0xE0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  CHECK(said(0xCB00, {0xC1, 1, 0, 4, 'J', 'o', 'h', 'n'}) == Data{0xC1, 1, 0, 4, 0xFF, 0xFF, 0xFF, 0xFF});
  CHECK(said(0xCB00, {0x13, 0, 141, 0, 1, 0, 0, 0}) == Data{0x13, 0, 141, 0, 1, 0, 0, 0});
  CHECK(said(0xCB00, {0x13, 0, 141, 0, 1, 0, 0, 0, 'J', 'o'}) ==
        Data{0x13, 0, 141, 0, 1, 0, 0, 0, 0xFF, 0xFF});
  CHECK(said(0xCB00, {0xE1, 'J', 'o', 'h', 'n', 0, 0, 0}) ==
        Data{0xE1, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  CHECK(said(0xD700, {4, 'J', 'o', 'h', 'n'}) == Data{0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
}

TEST_CASE("What the examination waits for is looked at") {
  for (Pgn pgn = 0; pgn < 0x20000; ++pgn) {
    if (!ImplementWatch::wants(pgn) && (Transfers::is_fast_packet(pgn) || !is_subscribed(pgn))) continue;
    INFO(pgn);
    CHECK((!PrivateRules::is_opaque({0, pgn, 0x80, 0xFF}) || Transfers::is_transport(pgn)));
  }
}

TEST_CASE("Names of buses and what the recorder quotes tell nobody's name") {
  const auto note_of = [](RecorderNote::Kind kind, std::uint64_t number, std::string text, std::string data) {
    RecorderNote note;
    note.kind = kind;
    note.number = number;
    note.text = std::move(text);
    note.data = std::move(data);
    return note;
  };
  using Kind = RecorderNote::Kind;
  const std::string chosen = std::string("N\xD6\xE0\xF5\xB5\x00\x19\x00\xA0", 9) + "A\x26JohnSmi";
  const std::vector<Notice> notices{BusInfo{"can-of-JohnSmith-SN99887", 250000},
                                    BusInfo{"can0", 250000},
                                    BusInfo{"JohnSmith", 250000},
                                    note_of(Kind::disk, 0, "/media/john/SN99887 is full", "John"),
                                    note_of(Kind::interface, 0, "can-of-JohnSmith is down", ""),
                                    note_of(Kind::lost, 7, "john", "John"),
                                    note_of(Kind::cut, 2, "john-monday.pcapng", chosen),
                                    note_of(Kind::known, RecorderNote::kNoPgn, "john", "John"),
                                    note_of(Kind::mark, 0, "john", ""),
                                    note_of(Kind::clock_stepped, 0, "", "")};
  std::vector<Event> events;
  for (const Notice& notice : notices) {
    Event event;
    event.kind = EventKind::notice;
    event.notice = &notice;
    event.bus = static_cast<BusIndex>(std::min<std::size_t>(events.size(), 3));
    events.push_back(event);
  }
  PrivateBus bus(Schema::built_in(), {});
  bus.learn(events);
  REQUIRE(bus.settle());
  bus.plan(events);
  bus.planned();
  const auto shown = bus.conceal(events);
  REQUIRE(shown.size() == notices.size() - 1);  // without the mark
  CHECK(std::get<BusInfo>(*shown[0].notice).name == "can1");
  CHECK(std::get<BusInfo>(*shown[0].notice).bitrate == 250000);
  CHECK(std::get<BusInfo>(*shown[1].notice).name == "can0");
  CHECK(std::get<BusInfo>(*shown[2].notice).name == "can2");
  for (std::size_t i = 3; i < shown.size(); ++i) {
    const auto& note = std::get<RecorderNote>(*shown[i].notice);
    INFO(note.text);
    CHECK(ascii_lower(note.text + note.data).find("john") == std::string::npos);
    CHECK(note.text.empty() == (note.kind == Kind::known || note.kind == Kind::clock_stepped));
    if (note.kind != Kind::cut)
      CHECK(note.data.empty());
    else
      CHECK(note.data == std::string("N\x00\x00\xE0\xB5\x00\x19\x00\xA0"
                                     "A\x26\0\0\0\0\0\0\0",
                                     18));
    CHECK(note.number == (note.kind == Kind::lost    ? 7
                          : note.kind == Kind::cut   ? 2
                          : note.kind == Kind::known ? RecorderNote::kNoPgn
                                                     : 0));
  }
}

TEST_CASE("Identity numbers in decimal and serials in other case are found in texts") {
  PrivateTerms terms;
  CHECK(terms.learn_name(Name(0xA000190000000000 | 1234567)));
  CHECK(terms.learn_name(Name(0xA000190000000000 | 12)));
  CHECK(terms.learn_serial(bytes_of("abX-77q")));
  CHECK(terms.learn_serial(bytes_of("seeder")));
  terms.settle();
  PrivateRules rules;
  const auto said = [&](Pgn pgn, const std::string& text) {
    std::vector<std::uint8_t> data(text.begin(), text.end());
    rules.rewrite({0, pgn, 0x80, 0xFF}, data, terms);
    CHECK_FALSE(PrivateRules::replace_known({0, pgn, 0x80, 0xFF}, data, terms));
    return std::string(data.begin(), data.end());
  };
  // 12 and 1234567 are true ones: their stand-ins are 1 and 2; the serials' are 1 and 2, too, in their order.
  CHECK(said(0xFEDA, "\1FW 3 SN1234567*") == "\1FW 3 SN0000002*");
  CHECK(said(0xFEDA, "\1FW 12 01234567, 12345678*") == "\1FW 12 00000002, 12345678*");
  CHECK(said(0xFEDA, "\1A00019000012D687 a00019000012d687*") == "\1a000190000000002 a000190000000002*");
  CHECK(said(0xFEDA, "\1of ABX-77Q and abx-77Q*") == "\1of 0000001 and 0000001*");
  CHECK(said(0xFEDA, "\1my SEEDER*") == "\1my 000002*");
  CHECK(terms.replaced_text("Seeder 1234567 Abx-77q") == "Seeder 0000002 0000001");
}

TEST_CASE("A device description in two transfers, cut anywhere, tells no half of a serial") {
  const std::string name("\xD6\xE0\xF5\xB5\x00\x19\x00\xA0", 8), serial = "QWZ-7788991";
  const std::string device = std::string("DVC\0\0", 5) +
                             "\5Drill\3"
                             "4.2" +
                             name + "\13" + serial +
                             "7788991"
                             "enP\0U\xAA\xFF";
  const std::string next("DET\1\0\1\5frame\0\0\0\0\0\0", 18);
  const std::string whole = device + next;
  const MessageHead head{0, 0xCB00, 0x80, 0x26};
  const auto shown = [&](PrivateRules& rules, const PrivateTerms& terms, const std::string& part) {
    std::vector<std::uint8_t> data{0x61};
    data.insert(data.end(), part.begin(), part.end());
    rules.rewrite(head, data, terms);
    PrivateTerms told;
    CHECK(PrivateRules::learn(head, data, told));
    for (const auto& [raw, ignored] : told.names()) CHECK(terms.is_stand_in_name(raw));
    return std::string(data.begin() + 1, data.end());
  };
  for (std::size_t cut = 1; cut < device.size(); ++cut) {
    INFO(cut);
    PrivateTerms terms;
    CHECK(terms.learn_name(Name::from_claim(bytes_of(name).data())));
    CHECK(PrivateRules::learn(head, bytes_of("\x61" + whole.substr(0, cut)), terms));
    CHECK(PrivateRules::learn(head, bytes_of("\x61" + whole.substr(cut)), terms));
    terms.settle();
    PrivateRules rules;
    const std::string first = shown(rules, terms, whole.substr(0, cut));
    const std::string second = shown(rules, terms, whole.substr(cut));
    CHECK(first.size() + second.size() == whole.size());
    for (const std::string& part : {first, second, first + second})
      for (std::size_t at = 0; at + 4 <= serial.size(); ++at)
        CHECK(part.find(serial.substr(at, 4)) == std::string::npos);
    CHECK((first + second).find(name.substr(0, 3)) == std::string::npos);
    CHECK(second.ends_with(next));
    CHECK(shown(rules, terms, next) == next);
  }
}

TEST_CASE("A designator that holds a serial, cut anywhere, tells no half of it") {
  const std::string serial = "QWZ-7788991";
  const std::string first_object("DET\1\0\1\5frame\0\0\0\0\0\0", 18);
  const std::string whole = first_object + std::string("DET\2\0\2\x11") + "unit " + serial + "!" +
                            std::string("\1\0\0\0\0\0", 6) + first_object;
  const MessageHead head{0, 0xCB00, 0x80, 0x26};
  PrivateTerms terms;
  CHECK(terms.learn_serial(bytes_of(serial)));
  terms.settle();
  for (std::size_t cut = 1; cut < whole.size(); ++cut) {
    INFO(cut);
    PrivateRules rules;
    std::string shown;
    for (const std::string& part : {whole.substr(0, cut), whole.substr(cut)}) {
      std::vector<std::uint8_t> data{0x61};
      data.insert(data.end(), part.begin(), part.end());
      rules.rewrite(head, data, terms);
      shown.append(data.begin() + 1, data.end());
    }
    REQUIRE(shown.size() == whole.size());
    for (std::size_t at = 0; at + 4 <= serial.size(); ++at)
      CHECK(shown.find(serial.substr(at, 4)) == std::string::npos);
    // Nothing else is touched, except behind a D that may begin a device object.
    if (whole[cut - 1] == 'D') continue;
    const std::size_t at = whole.find(serial);
    CHECK(shown.substr(0, at) == whole.substr(0, at));
    CHECK(shown.substr(at + serial.size()) == whole.substr(at + serial.size()));
  }
}

TEST_CASE("A roster without comments and identities asks for the same") {
  const std::string text =
      "# call Otto\nmachine = \"Drill AB-1234\"\n[[controller]]\nlabel = \"front\"  # on the left\nname = "
      "\"a0088000b5e0d6d9\"\nsoftware = [\"MTR 4.*\"]\n"
      "[[controller]]\nlabel = \"rear\"\nname = { function = 128, identity_number = 0x1234 }\nrequired = "
      "false\nsupply = \"cart\"\nside = \"implement\"\n";
  auto roster = parse_roster(text, "drill.toml");
  REQUIRE(roster);
  PrivateTerms terms;
  CHECK(terms.learn_serial(bytes_of("AB-1234")));
  CHECK(learn_roster(*roster, terms));
  terms.settle();
  auto made = private_roster(text, "drill.toml", terms);
  REQUIRE(made);
  CHECK(made->find("Otto") == std::string::npos);
  CHECK(made->find("AB-1234") == std::string::npos);
  auto again = parse_roster(*made, "roster.toml");
  REQUIRE(again);
  REQUIRE(again->entries.size() == 2);
  CHECK(again->entries[0].name.exact == terms.stand_in(Name(0xa0088000b5e0d6d9)));
  CHECK(again->entries[0].software == roster->entries[0].software);
  CHECK(again->entries[1].name.identity_number == terms.stand_in(0x1234u));
  CHECK(again->entries[1].name.function == 128);
  CHECK(again->entries[1].supply == roster->entries[1].supply);
  CHECK(again->entries[1].side == roster->entries[1].side);
  CHECK_FALSE(again->entries[1].required);
}

TEST_CASE("Slices: the most important first, then wider, never beyond the room") {
  Density density(0, 1000 * kSecond);
  for (TimeNs t = 0; t <= 1000 * kSecond; t += kSecond / 10) density.add(t);
  density.close();
  const std::vector<Highlight> moments{{500 * kSecond, 500 * kSecond, "first"},
                                       {100 * kSecond, 100 * kSecond, "second"},
                                       {900 * kSecond, 910 * kSecond, "third"}};
  const HighlightPlan none = plan_slices(moments, density, 5);
  CHECK(none.spans.empty());
  CHECK(none.left_out == 3);
  const HighlightPlan one = plan_slices(moments, density, 30);
  REQUIRE(one.spans.size() == 1);
  CHECK(one.spans[0] == SliceSpan{499 * kSecond, 501 * kSecond});
  const HighlightPlan some = plan_slices(moments, density, 500);
  CHECK(some.spans.size() == 3);
  CHECK(some.frames <= 500);
  CHECK(some.margins[0] >= some.margins[1]);
  const HighlightPlan all = plan_slices(moments, density, 1'000'000);
  CHECK(all.left_out + all.shortened == 0);
  CHECK(all.spans == std::vector<SliceSpan>{{40 * kSecond, 160 * kSecond},
                                            {440 * kSecond, 560 * kSecond},
                                            {840 * kSecond, 970 * kSecond}});
  CHECK_FALSE(all.whole);
}
