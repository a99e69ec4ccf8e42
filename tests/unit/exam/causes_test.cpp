// Which cause is proposed for which pattern of dropouts, and the roll call with them.
#include "unit/exam/bench.hpp"

using namespace tramlog;

namespace {

const Name kTractor = ExamBench::unit(1, 0, 0), kTerminal = ExamBench::unit(2, 0, 29);
const Name kUnits[] = {ExamBench::unit(10), ExamBench::unit(11, 4, 128, 1), ExamBench::unit(12, 4, 128, 2)};
constexpr Address kAddresses[] = {0x80, 0x81, 0x82};

struct Plan {
  double until = 120;
  double off = 0, on = 0;  // the silence of those in `who`
  std::vector<std::size_t> who;
  bool reclaim = false;
};

ExamBench machine(const Plan& plan) {
  ExamBench b;
  b.statistics(0.95, plan.until);
  b.claim(0.01, kTractor, 0x00);
  b.claim(0.012, kTerminal, 0x26);
  b.key(0.3, plan.until, true);
  b.talks(0.4, plan.until, 0x26);
  for (std::size_t i = 0; i < 3; ++i) {
    b.claim(0.02 + 0.01 * static_cast<double>(i), kUnits[i], kAddresses[i]);
    if (std::find(plan.who.begin(), plan.who.end(), i) == plan.who.end()) {
      b.talks(0.4, plan.until, kAddresses[i]);
      continue;
    }
    b.talks(0.4, plan.off, kAddresses[i]);
    if (plan.on <= 0) continue;
    if (plan.reclaim) b.claim(plan.on - 0.5 + 0.05 * static_cast<double>(i), kUnits[i], kAddresses[i]);
    b.talks(plan.on, plan.until, kAddresses[i]);
  }
  return b;
}

Roster roster(const std::string& more = "") {
  const auto entry = [](const char* label, int instance, const char* supply) {
    return std::string("[[controller]]\nlabel = \"") + label +
           "\"\nname = { device_class = 4, function = 128, " +
           "function_instance = " + std::to_string(instance) + " }\nsupply = \"" + supply +
           "\"\nside = \"implement\"\n";
  };
  auto parsed = parse_roster("machine = \"air drill\"\n" + entry("front", 0, "cart") +
                                 entry("middle", 1, "cart") + entry("rear", 2, "frame") + more,
                             "r.toml");
  REQUIRE(parsed.ok());
  return std::move(parsed.value());
}

const Finding& first(const Conclusions& all) {
  REQUIRE_FALSE(all.findings.empty());
  return all.findings.front();
}

}  // namespace

TEST_CASE("One unit gone for good") {
  const Conclusions all = machine({120, 60, 0, {0}, false}).conclude(roster());
  CHECK(first(all).cause == "unit.lost");
  CHECK(all.rollcall->entries[0].state == EntryState::lost);
  CHECK(all.rollcall->entries[1].state == EntryState::present);
  CHECK(all.rollcall->extra.size() == 2);
  CHECK(something_wrong(all));
}

TEST_CASE("One unit back with a claim: its supply; back without one: its wires") {
  const Conclusions supply = machine({120, 60, 66, {0}, true}).conclude();
  CHECK(first(supply).cause == "supply.unit");
  CHECK(findings_of(supply, "wiring.stub").empty());
  const Conclusions wires = machine({120, 60, 66, {0}, false}).conclude(roster());
  CHECK(first(wires).cause == "wiring.stub");
  CHECK(findings_of(wires, "supply.unit").empty());
  CHECK(wires.rollcall->entries[0].state == EntryState::intermittent);
}

TEST_CASE("Two on one supply, back with claims: that supply by its name") {
  const Conclusions all = machine({120, 60, 66, {0, 1}, true}).conclude(roster());
  CHECK(first(all).cause == "supply.shared");
  CHECK(first(all).confidence == Confidence::likely);
  CHECK(first(all).text.find("\"cart\"") != std::string::npos);
  CHECK(first(all).dropouts.size() == 2);
}

TEST_CASE("Two back without a claim: the trunk between them and the rest") {
  const Conclusions all = machine({120, 60, 66, {1, 2}, false}).conclude(roster());
  CHECK(first(all).cause == "wiring.trunk");
}

TEST_CASE("All of the implement at once while the tractor goes on: the connector at the hitch") {
  const Conclusions all = machine({120, 60, 66, {0, 1, 2}, true}).conclude(roster());
  CHECK(first(all).cause == "connector.hitch");
  CHECK(findings_of(all, "supply.shared").empty());
  CHECK(findings_of(all, "supply.unit").empty());
}

TEST_CASE("The whole bus in one moment, and nobody started again: the recorder's own plug, or the bus") {
  ExamBench b = machine({});
  b.lose(60, 70, false);
  const Conclusions all = b.conclude();
  CHECK(first(all).cause == "recorder.connection");
  CHECK(first(all).dropouts.size() == all.dropouts.size());
}

TEST_CASE("The whole bus with errors at that moment: a short of the bus") {
  ExamBench b = machine({});
  b.lose(60, 70, false);
  for (int i = 0; i < 20; ++i) b.error(60 + i * 0.001, 0x8, {0, 0, 4, 0, 0, 0, 0, 0});
  const Conclusions all = b.conclude();
  CHECK(first(all).cause == "bus.power-or-trunk");
}

TEST_CASE("Never heard at all: missing, and every entry answered") {
  const Conclusions all = machine({}).conclude(
      roster("[[controller]]\nlabel = \"fan\"\nname = { function = 99 }\n"
             "[[controller]]\nlabel = \"camera\"\nname = { function = 98 }\nrequired = false\n"));
  CHECK(first(all).cause == "controller.not-on-bus");
  CHECK(all.findings.size() == 1);
  REQUIRE(all.rollcall->entries.size() == 5);
  CHECK(all.rollcall->entries[3].state == EntryState::missing);
  CHECK(all.rollcall->entries[4].state == EntryState::missing);
  CHECK(something_wrong(all));
}

TEST_CASE("A healthy machine has no finding, with and without a roster") {
  CHECK(machine({}).conclude().findings.empty());
  const Conclusions all = machine({}).conclude(roster());
  CHECK(all.findings.empty());
  CHECK_FALSE(something_wrong(all));
  for (const RollcallEntry& entry : all.rollcall->entries) CHECK(entry.state == EntryState::present);
}

TEST_CASE("The recorder's own trouble is said to be the recorder's") {
  ExamBench b = machine({});
  b.lose(60, 70, true);
  const Conclusions all = b.conclude();
  REQUIRE(all.findings.size() == 1);
  CHECK(first(all).cause == "recorder.blind");
}
