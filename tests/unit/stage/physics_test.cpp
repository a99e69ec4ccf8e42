// Power, wiring and what follows from them.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>

#include "base/bytes.hpp"
#include "stage/play.hpp"
#include "stage/power.hpp"
#include "stage/wiring.hpp"
#include "unit/stage/scratch.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

const std::string kHead = R"(title = "physics"
start = 2026-04-07T06:12:00Z
seed = 5
duration = 30
[power]
battery = 12.6
alternator = 14.2
)";

std::string unit_named(const std::string& label, unsigned identity, const std::string& more) {
  return "[[controller]]\nlabel = \"" + label +
         "\"\nname = { function = 133, device_class = 4, identity = " + std::to_string(identity) +
         " }\naddress = " + std::to_string(0x80 + identity) + "\npower_on = 0.1\n" + more +
         "  [[controller.message]]\n  pgn = 0xFF20\n  period = 0.1\n  payload = \"00 FF\"\n";
}

struct Play {
  Scratch scratch;
  std::string bytes;
  nlohmann::json truth;
  explicit Play(const std::string& scenario) {
    const auto played =
        play_file(scratch.write("s.toml", scenario), scratch.path("c.pcapng"), scratch.path("t.json"));
    INFO((played.ok() ? std::string() : played.error().what + " " + played.error().where));
    REQUIRE(played.ok());
    bytes = Scratch::read(scratch.path("c.pcapng"));
    truth = nlohmann::json::parse(Scratch::read(scratch.path("t.json")));
  }
  // Seconds after the start of the scenario; the date is the same day.
  static double seconds(const nlohmann::json& time) {
    const auto text = time.get<std::string>();
    const double minutes = std::stod(text.substr(14, 2)) - 12;
    return minutes * 60 + std::stod(text.substr(17));
  }
  std::vector<nlohmann::json> dropouts_of(const std::string& label) const {
    std::vector<nlohmann::json> found;
    for (const auto& dropout : truth["dropouts"])
      if (dropout["label"] == label) found.push_back(dropout);
    return found;
  }
};

struct Packet {
  double at;  // s after 06:12:00
  std::uint32_t id;
  std::vector<std::uint8_t> data;
};
std::vector<Packet> packets(const std::string& bytes) {
  std::vector<Packet> found;
  const auto* at = reinterpret_cast<const std::uint8_t*>(bytes.data());
  const auto* end = at + bytes.size();
  while (at + 12 <= end) {
    const std::uint32_t length = load_le32(at + 4);
    if (load_le32(at) == 6) {
      const std::uint64_t ns = std::uint64_t{load_le32(at + 12)} << 32 | load_le32(at + 16);
      found.push_back({static_cast<double>(ns - 1775542320ull * 1000000000ull) / 1e9, load_be32(at + 28),
                       std::vector<std::uint8_t>(at + 36, at + 28 + load_le32(at + 20))});
    }
    at += length;
  }
  return found;
}

}  // namespace

TEST_CASE("a falling voltage crosses a limit where the straight line says") {
  VoltageCurve curve(14.0);
  curve.cut(10 * kSecond);
  curve.line_to(20 * kSecond, 4.0);  // 1 V a second
  CHECK(curve.at(5 * kSecond) == Approx(14.0));
  CHECK(curve.at(13 * kSecond) == Approx(11.0));
  CHECK(curve.at(30 * kSecond) == Approx(4.0));
  const auto below = curve.below(8.0);
  REQUIRE(below.size() == 1);
  CHECK(below[0].start == 16 * kSecond);
  CHECK_FALSE(below[0].end);
  CHECK(curve.below(3.9).empty());
  CHECK(curve.lowered(1.5).below(8.0)[0].start == 14'500 * kMillisecond);
}

TEST_CASE("cranking: the dip and its way back by hand") {
  VoltageCurve curve(12.6);
  PowerSpec power;
  crank(curve, 10 * kSecond, kSecond, 6.6, power);
  // 12.6 to 6.6 V within 20 ms; there until 10.3 s; 9.1 V at 11 s; 12.6 V at 11.05 s.
  CHECK(curve.at(10 * kSecond + 10 * kMillisecond) == Approx(9.6));
  CHECK(curve.at(10 * kSecond + 200 * kMillisecond) == Approx(6.6));
  CHECK(curve.at(11 * kSecond) == Approx(9.1));
  CHECK(curve.at(11 * kSecond + 50 * kMillisecond) == Approx(12.6));
  CHECK(curve.at(20 * kSecond) == Approx(14.2));
  const auto below = curve.below(7.6);
  REQUIRE(below.size() == 1);
  CHECK(to_seconds(below[0].start) == Approx(10 + 0.02 * 5.0 / 6.0));
  REQUIRE(below[0].end);
  CHECK(to_seconds(*below[0].end) == Approx(10.3 + 0.7 * 1.0 / 2.5));
  CHECK(curve.below(6.6).empty());  // not below it
}

TEST_CASE("whoever's brown-out lies above the dip restarts, the others go on") {
  const Play play(kHead + unit_named("weak", 1, "brown_out = 7.6\nboot = 0.5\n") +
                  unit_named("strong", 2, "brown_out = 6.5\n") +
                  "[[event]]\nat = 10\nwhat = \"crank\"\nfor = 1.0\nvolts = 6.6\n");
  CHECK(play.dropouts_of("strong").empty());
  const auto weak = play.dropouts_of("weak");
  REQUIRE(weak.size() == 1);
  // Off from 10.017 s; power again at 10.58 s; boots 0.5 to 0.512 s, asks and waits 250 ms and up to 153 ms,
  // claims.
  CHECK(Play::seconds(weak[0]["start"]) > 10.017 - 0.1 - 0.001);
  CHECK(Play::seconds(weak[0]["start"]) < 10.018);
  // Its request has the null address: the claim is the first that it says in its own name.
  CHECK(Play::seconds(weak[0]["end"]) > 10.58 + 0.5 + 0.25);
  CHECK(Play::seconds(weak[0]["end"]) < 10.58 + 0.512 + 0.25 + 0.153 + 0.002);
  CHECK(weak[0]["reclaimed"] == true);
  REQUIRE(play.truth["causes"].size() == 1);
  const auto& cause = play.truth["causes"][0];
  CHECK(cause["code"] == "supply.cranking");
  CHECK(cause["controllers"] == nlohmann::json{"weak"});
  CHECK(Play::seconds(cause["start"]) == Approx(10));
  CHECK(Play::seconds(cause["end"]) == Approx(11));
}

TEST_CASE("a dip that nobody feels is no cause") {
  const Play play(kHead + unit_named("strong", 2, "brown_out = 6.5\n") +
                  "[[event]]\nat = 10\nwhat = \"crank\"\nfor = 1.0\nvolts = 7\n");
  CHECK(play.truth["causes"].empty());
  CHECK(play.truth["dropouts"].empty());
}

TEST_CASE("a sinking voltage is told below its limit, then takes the controllers one by one") {
  const Play play(
      kHead + unit_named("first", 1, "brown_out = 9\nreports_low_voltage = true\nlow_voltage_fmi = 18\n") +
      unit_named("second", 2, "brown_out = 8\n") +
      "[[event]]\nat = 5\nwhat = \"voltage\"\nvolts = 7.2\nfor = 14\n");  // 0.5 V a second from 14.2 V
  // Below 10.5 V at 12.4 s, told 0.1 s later; 9 V at 15.4 s; 8 V at 17.4 s.
  REQUIRE(play.truth["dtcs"].size() == 1);
  CHECK(play.truth["dtcs"][0]["spn"] == 168);
  CHECK(play.truth["dtcs"][0]["fmi"] == 18);
  CHECK(Play::seconds(play.truth["dtcs"][0]["first_active"]) == Approx(12.5).margin(0.002));
  REQUIRE(play.dropouts_of("first").size() == 1);
  CHECK(Play::seconds(play.dropouts_of("first")[0]["start"]) == Approx(15.4).margin(0.101));
  CHECK(Play::seconds(play.dropouts_of("second").at(0)["start"]) == Approx(17.4).margin(0.101));
  REQUIRE(play.truth["causes"].size() == 1);
  CHECK(play.truth["causes"][0]["code"] == "supply.low-voltage");
  CHECK(play.truth["causes"][0]["controllers"] == nlohmann::json{"first", "second"});
}

TEST_CASE("the tree of branches knows who sits behind a connector") {
  Scenario scenario;
  for (const char* label : {"tractor", "frame", "cart", "left wing", "right wing"}) {
    ControllerSpec controller;
    controller.label = label;
    scenario.controllers.push_back(controller);
  }
  scenario.branches = {{"hitch", "", true, {"frame"}},
                       {"wings", "hitch", true, {"left wing"}},
                       {"outer", "wings", true, {"right wing"}},
                       {"cart", "hitch", false, {"cart"}}};
  CHECK(behind_branch(scenario, "hitch") == std::vector<std::uint32_t>{1, 2, 3, 4});
  CHECK(behind_branch(scenario, "wings") == std::vector<std::uint32_t>{3, 4});
  CHECK(behind_branch(scenario, "cart") == std::vector<std::uint32_t>{2});
  CHECK(behind_branch(scenario, "nowhere").empty());
  CHECK(behind_branch(scenario, "").empty());
}

TEST_CASE("a connector with the supply through it brings claims back, one of CAN only does not") {
  const auto with = [](const std::string& power) {
    return kHead + unit_named("tractor", 1, "") + unit_named("frame", 2, "") + unit_named("cart", 3, "") +
           "[[branch]]\nname = \"hitch\"\npower = " + power +
           "\ncontrollers = [\"frame\"]\n[[branch]]\nname = \"cart\"\nbehind = \"hitch\"\ncontrollers = "
           "[\"cart\"]\n" +
           "[[event]]\nat = 10\nwhat = \"connector-opens\"\nbranch = \"hitch\"\nfor = 3\n";
  };
  for (const bool power : {true, false}) {
    const Play play(with(power ? "true" : "false"));
    CHECK(play.dropouts_of("tractor").empty());
    for (const char* label : {"frame", "cart"}) {
      const auto dropouts = play.dropouts_of(label);
      REQUIRE(dropouts.size() == 1);
      CHECK(dropouts[0]["reclaimed"] == power);
      CHECK(Play::seconds(dropouts[0]["start"]) < 10.151);
      CHECK(Play::seconds(dropouts[0]["start"]) > 9.94);
      CHECK(Play::seconds(dropouts[0]["end"]) > 13.0);
    }
    unsigned opening = 0;
    for (const Packet& packet : packets(play.bytes))
      if ((packet.id & 0x20000000) != 0 && packet.at < 10.151) ++opening;
    CHECK(opening >= 20);
    CHECK(opening <= 60);
    REQUIRE(play.truth["causes"].size() == 1);
    CHECK(play.truth["causes"][0]["code"] == "connector.hitch");
    CHECK(play.truth["causes"][0]["branch"] == "hitch");
    CHECK(play.truth["causes"][0]["controllers"] == nlohmann::json{"frame", "cart"});
  }
}

TEST_CASE("an open supply closes only when every opening is closed") {
  const Play play(
      kHead + unit_named("a", 1, "supply = \"s\"\n") +
      "[[event]]\nat = 10\nwhat = \"fuse-opens\"\nsupply = \"s\"\nfor = 5\n"
      "[[event]]\nat = 12\nwhat = \"contact-loose\"\ncontroller = \"a\"\nfor = 2\nopenings = 1\n");
  REQUIRE(play.dropouts_of("a").size() == 1);
  CHECK(Play::seconds(play.dropouts_of("a")[0]["end"]) > 15.0);
}

TEST_CASE("errors of a missing terminator follow the load, and no frame is lost") {
  // 131 bits usual: 10 % of such frames; 1 - 0.9^(131/131).
  CHECK(error_chance(0.1, 131) == Approx(0.1));
  CHECK(error_chance(0.1, 262) == Approx(0.19));
  CHECK(error_chance(1, 70) == 1.0);
  const auto play = [](const std::string& period, const std::string& event) {
    std::string head = kHead;
    head.replace(head.find("seed = 5"), 8, "seed = 6");
    return Play(
        head + "[[controller]]\nlabel = \"a\"\nname = { function = 128, device_class = 4, identity = 1 }\n" +
        "address = 0x80\n  [[controller.message]]\n  pgn = 0xFF10\n  phase = 0\n  period = " + period +
        "\n  payload = \"11 22 33 44 55 66 77 88\"\n" + event);
  };
  const std::string missing = "[[event]]\nat = 0\nwhat = \"terminator-missing\"\nshare = 0.05\n";
  const Play calm = play("0.02", missing), busy = play("0.005", missing), well = play("0.005", "");
  const double calm_errors = calm.truth["capture"]["error_frames"],
               busy_errors = busy.truth["capture"]["error_frames"];
  // Some 1,480 and 5,900 frames of about 140 bits; each try is hit with 5.3 %.
  CHECK(calm_errors == Approx(0.053 / 0.947 * 1480).epsilon(0.35));
  CHECK(busy_errors == Approx(0.053 / 0.947 * 5900).epsilon(0.25));
  CHECK(busy.truth["capture"]["frames"].get<int>() ==
        Approx(well.truth["capture"]["frames"].get<int>()).margin(1));
  CHECK(busy.truth["dropouts"].empty());
  std::map<unsigned, unsigned> types;
  for (const Packet& packet : packets(busy.bytes))
    if ((packet.id & 0x20000000) != 0) ++types[packet.data.at(2)];
  CHECK(types[0x04] > 100);  // stuff
  CHECK(types[0x02] > 3);    // form
  CHECK(types[0x00] > 3);    // CRC
}

TEST_CASE("a flood fills the bus, and lower priorities are late by themselves") {
  const Play play(kHead + unit_named("culprit", 1, "") + unit_named("late", 2, "") +
                  "[[event]]\nat = 10\nwhat = \"floods\"\ncontroller = \"culprit\"\npgn = 0xFF20\nperiod = "
                  "0.0003\nfor = 5\n");
  // Frames of two bytes take 83 to 100 bits with the space behind: 2,500 to 3,012 a second fill the bus. The
  // other one's message has the same priority and PGN, but a higher address, and finds no gap at all.
  unsigned culprit = 0, late = 0;
  for (const Packet& packet : packets(play.bytes)) {
    if (packet.at < 10.1 || packet.at > 14.9) continue;
    culprit += (packet.id & 0xFF) == 0x81;
    late += (packet.id & 0xFF) == 0x82;
  }
  CHECK(culprit > 4.8 * 2490);
  CHECK(culprit < 4.8 * 3020);
  CHECK(late == 0);
  CHECK(play.truth["capture"]["error_frames"] == 0);
  CHECK(play.truth["causes"][0]["code"] == "unit.floods");
  CHECK(play.truth["causes"][0]["origin"] == "culprit");
}

TEST_CASE("a recorder that is unplugged hears nothing while its counters stand still") {
  const Play play(kHead + unit_named("a", 1, "") + unit_named("b", 2, "") +
                  "[[event]]\nat = 10\nwhat = \"logger-unplugged\"\nfor = 5\n");
  for (const Packet& packet : packets(play.bytes)) CHECK((packet.at < 10.001 || packet.at > 14.999));
  REQUIRE(play.truth["dropouts"].size() == 2);
  CHECK(play.truth["dropouts"][0]["kind"] == "bus-silent");
  CHECK(play.truth["dropouts"][0]["reclaimed"] == false);
  CHECK(play.truth["causes"][0]["code"] == "recorder.connection");
  CHECK(play.truth["causes"][0]["controllers"].empty());
}

TEST_CASE("clients give a lost task controller up after 6 s and a terminal after 3 s") {
  const auto last_sent = [](const std::string& what) {
    const std::string client =
        "  [[controller.message]]\n  pgn = 0xE700\n  to = \"partner\"\n  period = 0.1\n  payload = \"FF\"\n";
    const Play play(kHead + unit_named("partner", 1, "") + unit_named("client", 2, client) +
                    "[[event]]\nat = 10\nwhat = \"" + what + "\"\ncontroller = \"partner\"\n");
    double last = 0;
    bool lives = false;
    for (const Packet& packet : packets(play.bytes)) {
      if ((packet.id & 0x00FF0000) == 0x00E70000) last = packet.at;
      lives |= packet.at > 29 && (packet.id & 0xFF) == 0x82;
    }
    CHECK(lives);
    CHECK(play.dropouts_of("client").empty());
    CHECK(play.dropouts_of("partner").size() == 1);
    return last;
  };
  CHECK(last_sent("task-controller-lost") == Approx(16).margin(0.101));
  CHECK(last_sent("terminal-lost") == Approx(13).margin(0.101));
}

TEST_CASE("partners that complain name the address of an open stub") {
  const Play play(kHead + unit_named("mute", 1, "") + unit_named("partner", 2, "complains = true\n") +
                  unit_named("quiet", 3, "") +
                  "[[event]]\nat = 10\nwhat = \"stub-opens\"\ncontroller = \"mute\"\nfor = 8\n");
  REQUIRE(play.truth["dtcs"].size() == 1);
  CHECK(play.truth["dtcs"][0]["label"] == "partner");
  CHECK(play.truth["dtcs"][0]["spn"] == 2000 + 0x81);
  REQUIRE(play.dropouts_of("mute").size() == 1);
  CHECK(play.dropouts_of("mute")[0]["reclaimed"] == false);
}

TEST_CASE("a unit that restarts by itself does so at its interval") {
  const Play play(kHead + unit_named("a", 1, "boot = 0.3\n") + unit_named("b", 2, "") +
                  "[[event]]\nat = 8\nwhat = \"restarts-itself\"\ncontroller = \"a\"\nevery = 6\nfor = 13\n");
  const auto dropouts = play.dropouts_of("a");
  REQUIRE(dropouts.size() == 3);  // 8, 14, 20 s
  for (std::size_t i = 0; i < 3; ++i) {
    CHECK(Play::seconds(dropouts[i]["start"]) == Approx(8 + 6.0 * static_cast<double>(i)).margin(0.101));
    CHECK(dropouts[i]["reclaimed"] == true);
  }
  CHECK(play.dropouts_of("b").empty());
}

TEST_CASE("at a wrong bit rate the recorder hears errors only, and the machine is well") {
  const Play play(kHead + unit_named("a", 1, "") + "[[event]]\nat = 0\nwhat = \"wrong-bit-rate\"\n");
  CHECK(play.truth["capture"]["frames"] == 0);
  CHECK(play.truth["capture"]["error_frames"] > 200);
  const Play culprit(kHead + unit_named("a", 1, "") + unit_named("b", 2, "") +
                     "[[event]]\nat = 0\nwhat = \"wrong-bit-rate\"\ncontroller = \"b\"\nshare = 0\n");
  CHECK(culprit.truth["capture"]["frames"] == 0);
  CHECK(culprit.truth["capture"]["error_frames"] > 200);
  CHECK(culprit.truth["causes"][0]["origin"] == "b");
}
