// From hand-made troubles to incidents and ranked findings, and the table of weights.
#include "exam/findings.hpp"

#include "unit/exam/scenes.hpp"

using namespace tramlog;

TEST_CASE("The built-in table of weights is right, and a user's file replaces single numbers") {
  REQUIRE(CauseWeights::built_in().row("supply.unit") != nullptr);
  CHECK(CauseWeights::parse(CauseWeights::built_in_text(), "again.toml").ok());
  auto mine = CauseWeights::parse("[\"supply.unit\"]\nrepeats = 99\n", "mine.toml");
  REQUIRE(mine.ok());
  CHECK(mine->row("supply.unit")->at("repeats") == 99);
  CHECK(mine->row("supply.unit")->at("one-controller") ==
        CauseWeights::built_in().row("supply.unit")->at("one-controller"));
}

TEST_CASE("A name in the table that nobody knows is an error with its line") {
  const auto where = [](const char* text) {
    auto parsed = CauseWeights::parse(text, "w.toml");
    REQUIRE_FALSE(parsed.ok());
    CHECK(parsed.error().kind == ErrorKind::usage);
    return parsed.error().where;
  };
  CHECK(where("\n[\"supply.moon\"]\nrepeats = 1\n").rfind("w.toml:2:", 0) == 0);
  CHECK(where("[\"supply.unit\"]\nrepeats = 1\nmoon-phase = 2\n").rfind("w.toml:3:", 0) == 0);
  CHECK(where("[verdict]\nlikely = \"yes\"\n").rfind("w.toml:2:", 0) == 0);
  CHECK(where("[verdict]\nalmost = 3\n").rfind("w.toml:2:", 0) == 0);
  CHECK(where("[tell-apart]\n\"supply.unit / moon\" = \"x\"\n").rfind("w.toml:2:", 0) == 0);
  CHECK(where("[supply\n").rfind("w.toml:1:", 0) == 0);
  // Thresholds that would propose a cause without any evidence, or say likely of what is not even possible.
  CHECK(where("[verdict]\npossible = 0\n") == "w.toml");
  CHECK(where("[verdict]\nlikely = 20\n") == "w.toml");
  CHECK(where("[verdict]\ncertain = 10\n") == "w.toml");
  CHECK(where("[verdict]\nmargin = -1\n") == "w.toml");
  // Each part of a key would be followed deeper.
  std::string deep = "\na";
  for (int i = 0; i < 100'000; ++i) deep += ".a";
  CHECK(where((deep + " = 1\n").c_str()).rfind("w.toml:2:", 0) == 0);
}

TEST_CASE("One cut connector is one incident, and what follows from it is folded under it") {
  HandMade b;
  for (std::size_t i = 2; i < 6; ++i) b.drop(i, 100 + 0.05 * static_cast<double>(i), 110, true, 1);
  b.errors(100.1, 100.4);
  b.dtc(1, 2128, 9, 103);  // the terminal misses address 128
  b.fault("client.timed-out", 106, {3});
  b.fault("controller.message-stopped", 100, {4});
  b.fault("transfer.failed", 101, {5});
  b.fault("transfer.failed", 400, {5});  // long after: not its consequence
  const auto incidents = b.incidents();
  REQUIRE(incidents.size() == 1);
  CHECK(incidents[0].dropouts.size() == 4);
  CHECK(incidents[0].consequences.size() == 5);
  const auto findings = b.findings();
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].cause == "connector.hitch");
  CHECK(findings[0].dropouts.size() == 4);
}

TEST_CASE("The same controllers again are the same incident; others at another time are another") {
  HandMade b;
  for (int i = 0; i < 3; ++i) b.drop(2, 100 + 37.0 * i * i, 103 + 37.0 * i * i, true);
  b.drop(4, 150, 160, false);
  const auto incidents = b.incidents();
  REQUIRE(incidents.size() == 2);
  CHECK(incidents[0].times.size() == 3);
  CHECK(incidents[1].times.size() == 1);
  const auto findings = b.findings();
  CHECK(std::any_of(findings.begin(), findings.end(),
                    [](const Finding& f) { return f.cause == "supply.unit"; }));
  CHECK(std::any_of(findings.begin(), findings.end(),
                    [](const Finding& f) { return f.cause == "wiring.stub"; }));
}

TEST_CASE("Two causes that cannot be told apart both stand, with what decides") {
  // Gone together for good, no roster: a feed as well as the trunk.
  HandMade b;
  b.drop(2, 100, 0, false, 1);
  b.drop(3, 100, 0, false, 1);
  const auto findings = b.findings();
  REQUIRE(findings.size() == 2);
  CHECK(findings[0].cause == "supply.shared");
  CHECK(findings[1].cause == "wiring.trunk");
  CHECK(findings[0].incident == findings[1].incident);
  CHECK(findings[0].tell_apart == findings[1].tell_apart);
  CHECK(findings[0].tell_apart.find("Measure the feed") == 0);
  // With a margin of nothing only the better one does.
  auto narrow = CauseWeights::parse("[verdict]\nmargin = 0\n", "n.toml");
  REQUIRE(narrow.ok());
  CHECK(find_causes(b.all, b.seen, *narrow).size() == 1);
}

TEST_CASE("A watchdog keeps time, a loose plug does not") {
  HandMade watchdog;
  for (int i = 0; i < 6; ++i) watchdog.drop(2, 100 + 40.0 * i, 102 + 40.0 * i, true);
  CHECK(watchdog.findings().front().cause == "unit.restarts");
  HandMade plug;
  const double times[] = {100, 108, 190, 203, 420};
  for (const double t : times) plug.drop(2, t, t + 1.5 + t / 50, true);
  CHECK(plug.findings().front().cause == "supply.unit");
  CHECK(plug.findings().front().against.empty());
}

TEST_CASE("A sinking voltage that was told joins what goes one after the other") {
  HandMade b;
  b.dtc(0, 168, 18, 90);
  b.drop(2, 100, 130, true);
  b.drop(4, 112, 130, true);
  b.drop(5, 125, 140, true);
  const auto incidents = b.incidents();
  REQUIRE(incidents.size() == 1);
  CHECK(incidents[0].controllers.size() == 3);
  CHECK(b.findings().front().cause == "supply.low-voltage");
  // Not told: three incidents of their own.
  HandMade silent;
  silent.drop(2, 100, 130, true);
  silent.drop(4, 112, 130, true);
  CHECK(silent.incidents().size() == 2);
}

TEST_CASE("What nothing explains is said to be unknown, never left out") {
  HandMade b;
  b.errors(300, 300.5);
  const auto findings = b.findings();
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].cause == kCauseNotKnown);
  CHECK(findings[0].confidence == Confidence::possible);
  CHECK_FALSE(findings[0].next_steps.empty());
}

TEST_CASE("Errors of all kinds over the whole time with nobody gone: the termination") {
  HandMade b;
  for (int i = 0; i < 20; ++i) {
    b.errors(10 + 29.0 * i, 10.2 + 29.0 * i);
    b.seen.buses[0].bursts.back().protocol_bits = i % 2 == 0 ? 0x04 : 0x02;
  }
  const auto findings = b.findings();
  REQUIRE_FALSE(findings.empty());
  CHECK(findings[0].cause == "wiring.termination");
  CHECK(findings[0].faults.size() == 20);
}

TEST_CASE("Healthy: no incident") {
  CHECK(HandMade().incidents().empty());
  HandMade note;
  note.fault("machine.power-down", 500, {}, Severity::note);
  CHECK(note.findings().empty());
}

TEST_CASE("a lost speed source is the one that the fault begins with, not the one that is used instead") {
  for (const auto& [text, named] : {std::pair{"machine selected speed: Lost 1 time; ground-based speed is used.",
                                              "The machine selected speed was lost or frozen"},
                                    std::pair{"The wheel-based speed stands at 2.600 m/s; the positioning speed goes on.",
                                              "The wheel-based speed was lost or frozen"},
                                    std::pair{"Lost 1 time.", "A speed source was lost or frozen"}}) {
    HandMade b;
    Fault& lost = b.fault("speed.source-lost", 100, {0});
    lost.text = text;
    lost.end = HandMade::at(108);
    const auto findings = b.findings();
    REQUIRE(findings.size() == 1);
    CHECK(findings[0].text.rfind(named, 0) == 0);
    CHECK(findings[0].text.find("for 8.00 s") != std::string::npos);
  }
}
