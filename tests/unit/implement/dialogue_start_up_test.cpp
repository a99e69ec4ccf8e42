#include <catch2/catch.hpp>

#include "unit/implement/dialogue_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;
using Catch::Matchers::Contains;

TEST_CASE("a whole start-up with an upload, version 4 and 3", "[dialogue]") {
  for (const unsigned version : {4U, 3U}) {
    DialogueBench bench;
    bench.connect(4, version);
    bench.pass(30);
    const LinkRecord record = bench.conclude();
    CHECK(record.state == DialogueState::active);
    CHECK(record.client_version == 4);
    CHECK(record.server_version == version);
    CHECK(bench.attention().empty());
    CHECK(bench.verdict("device.pool-refused") == Verdict::pass);
    CHECK(bench.verdict("device.pool-broken") == Verdict::pass);
    CHECK(bench.verdict("task-controller.lost") == Verdict::pass);
    CHECK(bench.verdict("device.client-lost") == Verdict::pass);
    CHECK(bench.verdict("device.task-out-of-step") == Verdict::pass);
    CHECK_THAT(bench.line("device.version").text, Contains("rules of version " + std::to_string(version)));
    REQUIRE(bench.device.pool.device);
    CHECK(bench.device.pool.elements.size() == 5);
    CHECK(bench.device.pool.bytes == DialogueBench::pool(version == 4).size());
    CHECK(bench.lines.size() == 11);  // one for each code
    for (const CheckLine& line : bench.lines) CHECK(line.subject == "task controller");
  }
}

TEST_CASE("nothing but values: active, description unknown, and nothing to complain of", "[dialogue]") {
  DialogueBench bench;
  for (int i = 0; i < 60; ++i) {
    bench.pass(i);
    bench.server_says(DialogueBench::variable(3, 4, 6, 18000));
    if (i % 3 == 0) bench.server_says(DialogueBench::variable(2, 4, 81, 0));  // never answered
  }
  CHECK(bench.attention().empty());
  CHECK(bench.conclude().state == DialogueState::announced);
  CHECK(bench.verdict("process-data.unanswered") == Verdict::not_shown);
  bench.tell(4, 7, 17990);
  CHECK(bench.conclude().state == DialogueState::active);
  CHECK_THAT(bench.line("device.pool-refused").text, Contains("began before the recording"));
  CHECK(bench.verdict("device.pool-refused") == Verdict::not_shown);
  CHECK(bench.verdict("device.pool-broken") == Verdict::not_shown);
  CHECK(bench.verdict("task-controller.lost") == Verdict::not_shown);
}

TEST_CASE("every way to refuse a description", "[dialogue]") {
  const PoolData pool = DialogueBench::pool();
  SECTION("no memory for it") {
    DialogueBench bench;
    bench.begin();
    bench.labels(false);
    bench.announce(pool.size());
    bench.server_says({0x51, 1, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    bench.pass(20);
    CHECK(bench.conclude().state == DialogueState::refused);
    CHECK(bench.attention() == std::vector<std::string>{"device.pool-refused"});
    CHECK_THAT(bench.line("device.pool-refused").text, Contains("not enough memory"));
  }
  SECTION("out of memory while it comes") {
    DialogueBench bench;
    bench.begin();
    bench.announce(pool.size());
    bench.part(pool);
    bench.part_received(500, 1);
    bench.pass(20);
    CHECK_THAT(bench.line("device.pool-refused").text, Contains("out of memory during the transfer"));
    CHECK(bench.conclude().state == DialogueState::refused);
  }
  SECTION("bytes are missing") {
    DialogueBench bench;
    bench.begin();
    bench.announce(pool.size());
    bench.part(pool);
    bench.part_received(pool.size() - 3);
    bench.pass(20);
    CHECK_THAT(bench.line("device.pool-refused").text,
               Contains(std::to_string(pool.size() - 3) + " of " + std::to_string(pool.size())));
  }
  SECTION("with or without the command byte is no loss") {
    for (const std::size_t told : {pool.size(), pool.size() + 1}) {
      DialogueBench bench;
      bench.begin();
      bench.announce(pool.size());
      bench.part(pool);
      bench.part_received(told);
      bench.activate();
      bench.pass(20);
      CHECK(bench.attention().empty());
    }
  }
  SECTION("an error in an object, which the description names") {
    DialogueBench bench;
    bench.begin();
    bench.labels(false);
    bench.upload(pool);
    bench.activate(0x01, 2, 11, 0x02);
    bench.pass(20);
    CHECK(bench.conclude().state == DialogueState::refused);
    const CheckLine& line = bench.line("device.pool-refused");
    CHECK(line.verdict == Verdict::attention);
    CHECK_THAT(line.text, Contains("object 11, section \"section 2\" below object 2, function \"boom\""));
    CHECK_THAT(line.text, Contains("unknown object reference"));
    REQUIRE(line.moments.size() == 1);
    CHECK(line.start == line.moments[0].at.time);
  }
  SECTION("the task controller has no memory left") {
    DialogueBench bench;
    bench.connect();
    bench.pass(10);
    bench.status(false, 0x80);
    bench.status(false, 0x80);
    bench.pass(20);
    const CheckLine& line = bench.line("device.pool-refused");
    CHECK(line.verdict == Verdict::attention);
    CHECK(line.moments.size() == 1);  // said once, while it lasts
  }
  SECTION("refused first, then activated") {
    DialogueBench bench;
    bench.begin();
    bench.upload(pool);
    bench.activate(0x04);
    bench.pass(10);
    bench.upload(pool);
    bench.activate();
    bench.pass(20);
    CHECK(bench.conclude().state == DialogueState::active);
    CHECK_THAT(bench.line("device.pool-refused").text, Contains("It was activated later"));
  }
}

TEST_CASE("an activation that is never answered", "[dialogue]") {
  for (const bool busy : {false, true}) {
    DialogueBench bench;
    bench.begin();
    bench.upload(DialogueBench::pool());
    bench.pass(4);
    bench.client_says({0x81, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    if (busy) {
      // It works on it and says so: 6 s are in order then.
      for (const double at : {5.0, 7.0, 9.0}) {
        bench.pass(at);
        bench.status(false, 0x08);
      }
      bench.pass(10);
      bench.server_says({0x91, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0xFF});
    }
    bench.pass(30);
    if (busy) {
      CHECK(bench.attention().empty());
      CHECK_FALSE(bench.happened("did not answer"));
    } else {
      CHECK(bench.attention() == std::vector<std::string>{"device.pool-refused"});
      CHECK_THAT(bench.line("device.pool-refused").text, Contains("did not answer the request to activate"));
    }
  }
}

TEST_CASE("a recording that ends within the start-up proves nothing", "[dialogue]") {
  DialogueBench bench;
  bench.begin();
  bench.labels(false);
  bench.announce(1000);
  bench.pass(1.5);
  CHECK(bench.attention().empty());
  CHECK_THAT(bench.line("device.pool-refused").text, Contains("ends before the description was activated"));
}

TEST_CASE("not known to the task controller", "[dialogue]") {
  DialogueBench bench;
  bench.begin();
  bench.link.on_nack(bench.mark(bench.now()), true, 1);
  bench.pass(20);
  CHECK(bench.conclude().state == DialogueState::lost);
  CHECK(bench.attention() == std::vector<std::string>{"device.pool-refused"});
  CHECK_THAT(bench.line("device.pool-refused").text, Contains("does not know this client"));
  // It begins again, and now all is well: a start that came too early.
  bench.connect();
  bench.pass(40);
  CHECK(bench.attention().empty());
  CHECK_THAT(bench.line("device.pool-refused").text, Contains("1 attempt"));
  // Later it means that the connection was dropped.
  bench.link.on_nack(bench.mark(bench.now()), true, 1);
  bench.pass(42);
  CHECK(bench.attention() == std::vector<std::string>{"device.client-lost"});
  CHECK_THAT(bench.line("device.client-lost").text, Contains("dropped the active connection once"));
}

TEST_CASE("acknowledgements that are no loss", "[dialogue]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(10);
  bench.link.on_nack(bench.mark(10), true, 3);  // busy
  bench.client_says({0xC1, 12, 0, 'B', 'i', 'n', 0xFF, 0xFF});
  bench.link.on_nack(bench.mark(10), true, 1);  // it takes no other designators
  bench.pass(20);
  CHECK(bench.attention().empty());
  CHECK(bench.conclude().state == DialogueState::active);
  // A second task controller to which the client does not talk.
  DialogueBench other;
  other.server_says({0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  other.link.on_nack(other.mark(0), false, 1);
  other.pass(20);
  CHECK(other.attention().empty());
}

TEST_CASE("stored descriptions and needless uploads", "[dialogue]") {
  DialogueBench stored;
  stored.begin();
  stored.versions(4, 4);
  stored.labels(true);
  stored.localization(0x00);
  stored.activate();
  stored.pass(20);
  CHECK(stored.attention().empty());
  CHECK_THAT(stored.line("device.pool-refused").text, Contains("memory, without an upload"));
  CHECK(stored.verdict("device.pool-broken") == Verdict::not_shown);
  CHECK(stored.happened("holds the structure label \"DRILL01\""));

  DialogueBench again;
  again.begin();
  again.labels(true);
  again.localization(0x55);
  again.upload(DialogueBench::pool());
  again.activate();
  again.pass(20);
  CHECK(again.attention().empty());
  const std::string& text = again.line("device.pool-refused").text;
  CHECK_THAT(text, Contains("although the task controller holds its structure label"));
  CHECK_THAT(text, Contains("language or units"));

  DialogueBench forgetful;
  for (const double at : {0.0, 20.0}) {
    forgetful.pass(at);
    forgetful.connect();
  }
  CHECK_THAT(forgetful.line("device.pool-refused").text, Contains("At 2 starts"));
}

TEST_CASE("a task controller that serves less than the client has", "[dialogue]") {
  const auto bench_with = [](unsigned booms, unsigned sections, unsigned options, bool activates) {
    auto bench = std::make_unique<DialogueBench>();
    bench->begin();
    bench->versions(4, 4, booms, sections, 16, options);
    bench->labels(false);
    if (activates) {
      bench->upload(DialogueBench::pool());  // a boom and two sections
      bench->activate();
    }
    bench->pass(20);
    return bench;
  };
  CHECK(bench_with(1, 2, 0x11, true)->verdict("device.version") == Verdict::pass);
  const auto less = bench_with(1, 1, 0x11, true);
  CHECK(less->verdict("device.version") == Verdict::attention);
  CHECK_THAT(less->line("device.version").text, Contains("1 boom, 1 section"));
  CHECK_THAT(less->line("device.version").text, Contains("offers 1, 2 and 0"));
  // Totals only: the client goes without section control.
  const auto without = bench_with(0, 0, 0x01, true);
  CHECK(without->verdict("device.version") == Verdict::pass);
  CHECK_THAT(without->line("device.version").text, Contains("without that function"));
  const auto never = bench_with(1, 1, 0x11, false);
  CHECK(never->verdict("device.version") == Verdict::attention);
  CHECK_THAT(never->line("device.version").text, Contains("none became active"));
}

TEST_CASE("deactivated and deleted", "[dialogue]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(10);
  bench.client_says({0x81, 0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  bench.server_says({0x91, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0xFF});
  bench.client_says({0xA1, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  bench.server_says({0xB1, 1, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  bench.stop_client();
  bench.pass(12);
  bench.stop_status();
  bench.pass(40);
  // An orderly end: neither silence is a loss.
  CHECK(bench.attention().empty());
  CHECK(bench.conclude().state == DialogueState::lost);
  CHECK(bench.happened("object pool deactivated"));
  CHECK(bench.happened("could not be deleted: task data refer to it"));
  ImplementRecord record;
  bench.desk.conclude(record);
  CHECK_FALSE(record.activated);

  // Version 3 has no deactivation: the message activates.
  DialogueBench old;
  old.begin();
  old.versions(3, 3);
  old.upload(DialogueBench::pool(false));
  old.client_says({0x81, 0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  old.server_says({0x91, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0xFF});
  old.pass(10);
  CHECK(old.conclude().state == DialogueState::active);
}
