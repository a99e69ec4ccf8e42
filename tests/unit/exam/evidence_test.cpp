// Each piece of evidence on Conclusions made by hand: there, not there, partly, cannot be told.
#include "exam/evidence.hpp"

#include "unit/exam/scenes.hpp"

using namespace tramlog;

TEST_CASE("Evidence: one controller or several, together or one after the other") {
  HandMade one;
  one.drop(2, 100, 102, true);
  CHECK(one.degree("one-controller") == 1);
  CHECK(one.degree("several") == 0);
  CHECK(one.degree("together-within") == 0);
  HandMade two;
  two.drop(2, 100, 103, true, 1);
  two.drop(3, 100.2, 103, true, 1);
  CHECK(two.degree("one-controller") == 0);
  CHECK(two.degree("several") == 1);
  CHECK(two.degree("together-within") == 1);
  CHECK(two.degree("one-by-one") == 0);
  HandMade apart;
  apart.drop(2, 100, 120, true, 1);
  apart.drop(3, 102.75, 120, true, 1);  // halfway between 0.5 s and 5 s
  CHECK(apart.degree("together-within") == Approx(0.5));
  CHECK(apart.degree("one-by-one") == Approx(0.5));
}

TEST_CASE("Evidence: how often, how regularly, how long") {
  HandMade regular;
  for (int i = 0; i < 5; ++i) regular.drop(2, 100 + 30 * i, 102 + 30 * i, true);
  CHECK(regular.degree("repeats") == 1);
  CHECK(regular.degree("regular-interval") == 1);
  CHECK(regular.degree("irregular-interval") == 0);
  CHECK(regular.degree("equal-lengths") == 1);
  HandMade irregular;
  const double times[] = {100, 107, 180, 190, 400};
  for (const double t : times) irregular.drop(2, t, t + 1 + (t - 100) / 30, true);
  CHECK(irregular.degree("regular-interval") == 0);
  CHECK(irregular.degree("irregular-interval") == 1);
  CHECK(irregular.degree("equal-lengths") == 0);
  HandMade once;
  once.drop(2, 100, 102, true);
  CHECK(once.degree("repeats") == 0);
  CHECK(once.degree("regular-interval") == -1);
}

TEST_CASE("Evidence: back with a claim, without one, or not at all") {
  HandMade mixed;
  mixed.drop(2, 100, 102, true);
  mixed.drop(2, 200, 202, false);
  CHECK(mixed.degree("returned-with-claim") == 0.5);
  CHECK(mixed.degree("returned-without-claim") == 0.5);
  CHECK(mixed.degree("all-returned") == 1);
  CHECK(mixed.degree("none-returned") == 0);
  HandMade gone;
  gone.drop(2, 100, 0, false);
  CHECK(gone.degree("returned-with-claim") == -1);
  CHECK(gone.degree("none-returned") == 1);
  CHECK(gone.degree("at-captures-edge") == 0);
  HandMade edge;
  edge.drop(2, 597, 0, false);
  CHECK(edge.degree("at-captures-edge") == 1);
}

TEST_CASE("Evidence: engine, key and voltage") {
  HandMade plain;
  plain.drop(2, 100, 102, true, 1);
  plain.drop(3, 100, 102, true, 1);
  CHECK(plain.degree("engine-started") == 0);
  CHECK(plain.degree("no-start-sign") == -1);  // nobody tells the engine's speed
  CHECK(plain.degree("start-not-told") == 1);
  plain.seen.buses[0].engine_told = HandMade::mark(599);
  CHECK(plain.degree("no-start-sign") == 1);
  CHECK(plain.degree("start-not-told") == 0);
  HandMade cranking = plain;
  cranking.seen.buses[0].engine_starts.push_back(HandMade::mark(98));
  CHECK(cranking.degree("engine-started") == 1);
  CHECK(cranking.degree("no-start-sign") == 0);
  HandMade key = plain;
  key.seen.buses[0].key_changes.push_back({HandMade::at(95), 9, true});
  CHECK(key.degree("key-on") == 1);
  HandMade voltage = plain;
  voltage.dtc(4, 168, 18, 101);
  CHECK(voltage.degree("low-voltage-told") == 1);
  HandMade far = plain;
  far.dtc(4, 168, 18, 400);
  CHECK(far.degree("low-voltage-told") == 0);
  HandMade high = plain;
  high.dtc(4, 168, 3, 101);  // FMI 3: above normal
  CHECK(high.degree("low-voltage-told") == 0);
  HandMade own;
  own.drop(2, 100, 102, true);
  own.dtc(2, 168, 4, 103);
  CHECK(own.degree("supply-code-own") == 1);
}

TEST_CASE("Evidence: feeds and sides by the roster") {
  HandMade b;
  b.on_supply(0, "cab", "tractor");
  b.on_supply(1, "cab", "tractor");
  for (std::size_t i = 2; i < 4; ++i) b.on_supply(i, "cart");
  for (std::size_t i = 4; i < 6; ++i) b.on_supply(i, "drill");
  HandMade cart = b;
  cart.drop(2, 100, 103, true, 1);
  cart.drop(3, 100, 103, true, 1);
  CHECK(cart.degree("same-supply") == 1);
  CHECK(cart.degree("whole-supply") == 1);
  CHECK(cart.degree("different-supplies") == 0);
  CHECK(cart.degree("others-on-supply-went-on") == 0);
  CHECK(cart.degree("part-of-implement") == 1);
  CHECK(cart.degree("whole-implement") == 0);
  CHECK(cart.degree("tractor-went-on") == 1);
  HandMade all = b;
  for (std::size_t i = 2; i < 6; ++i) all.drop(i, 100, 103, true, 1);
  CHECK(all.degree("whole-implement") == 1);
  CHECK(all.degree("part-of-implement") == 0);
  CHECK(all.degree("different-supplies") == 1);
  CHECK(all.degree("three-or-more") == 1);
  HandMade with_tractor = b;
  with_tractor.drop(0, 100, 103, true, 1);
  with_tractor.drop(2, 100, 103, true, 1);
  CHECK(with_tractor.degree("tractor-fell-too") == 1);
  CHECK(with_tractor.degree("others-on-supply-went-on") == -1);
  HandMade unknown;
  unknown.drop(2, 100, 103, true, 1);
  unknown.drop(3, 100, 103, true, 1);
  CHECK(unknown.degree("same-supply") == -1);
}

TEST_CASE("Evidence: errors at the moment, or none") {
  HandMade quiet;
  quiet.drop(2, 100, 103, true);
  CHECK(quiet.degree("errors-at-the-moment") == 0);
  CHECK(quiet.degree("no-errors") == 0.5);
  HandMade burst = quiet;
  burst.errors(100.1, 100.3);
  CHECK(burst.degree("errors-at-the-moment") == 1);
  CHECK(burst.degree("no-errors") == 0);
  HandMade before = quiet;
  before.errors(70, 71);
  CHECK(before.degree("no-errors") == 1);  // the recorder does tell errors
}

TEST_CASE("Evidence: partners complain by trouble codes that name the address") {
  HandMade b;
  b.drop(2, 100, 110, false);  // address 128
  b.dtc(1, 2128, 9, 103);
  CHECK(b.degree("partners-complain") == 1);
  HandMade other;
  other.drop(2, 100, 110, false);
  other.dtc(1, 2129, 9, 103);
  CHECK(other.degree("partners-complain") == 0);
}

TEST_CASE("Every evidence has its own name and is used by some cause") {
  const std::string table(CauseWeights::built_in_text());
  for (const EvidenceKind& kind : all_evidence()) {
    INFO(kind.name);
    CHECK(std::count_if(all_evidence().begin(), all_evidence().end(), [&](const EvidenceKind& other) {
            return std::string(other.name) == kind.name;
          }) == 1);
    CHECK(table.find("\n" + std::string(kind.name) + " = ") != std::string::npos);
  }
}

TEST_CASE("Evidence: errors that go on while they are away, or a bus that is quiet then") {
  HandMade b;
  b.drop(2, 100, 110, false, 1);
  b.drop(3, 100, 110, false, 1);
  CHECK(b.degree("quiet-while-away") == -1);  // this recorder never told an error
  b.errors(99.9, 100.2);                      // the moment itself
  b.errors(109.8, 110);                       // and the return
  CHECK(b.degree("errors-while-away") == 0);
  CHECK(b.degree("quiet-while-away") == 1);
  b.errors(103, 103.1);
  CHECK(b.degree("errors-while-away") == Approx(0.4));  // one may be a coincidence
  CHECK(b.degree("quiet-while-away") == 0);
  b.errors(106, 106.2);
  CHECK(b.degree("errors-while-away") == 1);
}

TEST_CASE("Evidence: a whole bus that ends in one moment, or fades out") {
  const auto bus = [](std::initializer_list<double> last) {
    HandMade b;
    std::size_t controller = 0;
    for (const double seconds : last) {
      Dropout& d = b.drop(controller++, seconds, 210, false, 1);
      d.kind = DropoutKind::bus_silent;  // each had a rhythm of 100 ms
    }
    BusSilence silence;
    silence.start = HandMade::mark(200);
    silence.end = HandMade::mark(210);
    silence.judged_until = HandMade::at(210);
    b.all.silences.push_back(silence);
    return b;
  };
  const HandMade together = bus({199.92, 199.95, 199.97, 199.99, 200});
  CHECK(together.degree("in-one-moment") == 1);
  CHECK(together.degree("faded-out") == 0);
  const HandMade faded = bus({199.71, 199.85, 199.97, 199.99, 200});
  CHECK(faded.degree("in-one-moment") == 0);
  CHECK(faded.degree("faded-out") == 1);
}

TEST_CASE(
    "Two trouble codes of one message: only the one that misses the silent controller follows from it") {
  HandMade b;
  b.drop(2, 100, 112, false);
  b.dtc(4, 100, 9, 102);
  b.dtc(4, 2000u + b.all.controllers[2].address, 9, 102);
  const auto incidents = b.incidents();
  REQUIRE(incidents.size() == 1);
  CHECK(incidents[0].consequences == std::vector<std::size_t>{1});
  CHECK(incidents[0].complaints == std::vector<std::size_t>{1});
}

TEST_CASE("A lost task controller and a lost terminal are two incidents") {
  HandMade b;
  b.fault("task-controller.lost", 60, {0});
  b.fault("terminal.lost", 300, {1});
  const auto findings = b.findings();
  REQUIRE(findings.size() == 2);
  CHECK(findings[0].incident != findings[1].incident);
  CHECK(findings[0].cause != findings[1].cause);
}
