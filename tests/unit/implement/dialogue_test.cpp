#include <catch2/catch.hpp>

#include "unit/implement/dialogue_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;
using Catch::Matchers::Contains;

namespace {

using Codes = std::vector<std::string>;

}  // namespace

TEST_CASE("a lost task controller is told once, and what follows from it is not", "[dialogue]") {
  for (const bool back : {true, false}) {
    DialogueBench bench;
    bench.connect();
    bench.pass(20);  // status at 2, 4 .. 20
    bench.stop_status();
    bench.pass(26);
    bench.stop_client();  // it has lost its task controller
    bench.pass(back ? 35 : 60);
    if (back) {
      bench.connect();
      bench.pass(60);
    }
    CHECK(bench.attention() == Codes{"task-controller.lost"});
    const CheckLine& line = bench.line("task-controller.lost");
    CHECK_THAT(line.text, Contains("missing once for over 6.00 s"));
    CHECK_THAT(line.text, Contains(back ? "came back" : "did not come back"));
    REQUIRE(line.moments.size() == 1);
    REQUIRE(line.start);
    const double began = to_seconds(*line.start - DialogueBench::kStart);
    CHECK(began > 17.9);
    CHECK(began < 20.1);
    REQUIRE(line.figures.size() == 2);
    CHECK(line.figures[0].value == 1);
    CHECK(line.figures[1].value == Approx((back ? 35 : 60) - began).margin(0.11));
    CHECK(bench.conclude().state == (back ? DialogueState::active : DialogueState::lost));
  }
}

TEST_CASE("silence within the limit, or at the end of the recording, proves nothing", "[dialogue]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(20);
  bench.stop_status();
  bench.stop_client();
  bench.pass(bench.now() + 3.5);
  CHECK(bench.attention().empty());
}

TEST_CASE("a late status is told with its measure", "[dialogue]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(10);
  for (int i = 1; i <= 4; ++i) {
    bench.stop_status();
    bench.pass(10 + 4.5 * i);
    bench.status(false);
  }
  CHECK(bench.attention() == Codes{"task-controller.status-late"});
  const CheckLine& line = bench.line("task-controller.status-late");
  CHECK_THAT(line.text, Contains("late 4 times"));
  REQUIRE(line.figures.size() == 2);
  CHECK(line.figures[0].value == 4);
  CHECK(line.figures[1].value >= 4.5);
  CHECK(line.figures[1].value < 6);
  CHECK(line.moments.size() == 4);
}

TEST_CASE("a lost client", "[dialogue]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(20);
  bench.stop_client();
  bench.pass(40);
  CHECK(bench.attention() == Codes{"device.client-lost"});
  CHECK(bench.conclude().state == DialogueState::lost);
  // It goes on as if nothing had been: the values tell that the connection stands.
  bench.client_task(false);
  bench.tell(4, 7, 100);
  bench.pass(60);
  CHECK(bench.conclude().state == DialogueState::active);
  CHECK_THAT(bench.line("device.client-lost").text, Contains("came back"));
}

TEST_CASE("a client that starts again is not lost by its own pause", "[dialogue]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(20);
  bench.stop_client();
  bench.pass(23);
  bench.link.on_restart(bench.mark(23), true);
  bench.pass(30);  // 6 s of quiet after the claim, and more
  bench.connect();
  bench.pass(50);
  CHECK(bench.attention().empty());
  CHECK_THAT(bench.line("device.client-lost").text, Contains("started again once"));
  // The same with the task controller.
  bench.stop_status();
  bench.stop_client();
  bench.link.on_restart(bench.mark(bench.now()), false);
  bench.pass(60);
  bench.connect();
  bench.pass(70);
  CHECK(bench.attention().empty());
}

TEST_CASE("nothing is judged across blindness, even if it becomes known late", "[dialogue]") {
  for (const bool known_late : {false, true}) {
    DialogueBench bench;
    bench.connect();
    bench.server_says(DialogueBench::variable(4, 4, 7, 1000));
    bench.client_says(DialogueBench::acknowledgement(4, 7, 0, 4));
    for (double at = 3; at < 20; at += 1) {
      bench.pass(at);
      bench.tell(4, 7, 1000);
    }
    bench.server_says(DialogueBench::variable(2, 4, 10, 0));
    const double from = bench.now();
    if (!known_late) bench.link.on_blind(bench.time(from), bench.time(from + 9));
    // Nothing is heard, and time jumps.
    bench.stop_status();
    bench.stop_client();
    bench.device.now = bench.time(from + 9);
    bench.link.on_time(bench.time(from + 9));
    DialogueBench& b = bench;
    b.pass(from + 9);
    if (known_late) {
      b.pass(from + 9.5);
      b.link.on_blind(b.time(from), b.time(from + 9));
    }
    b.client_task(false);
    b.status(false);
    for (double at = from + 10; at < from + 20; at += 1) {
      b.pass(at);
      b.tell(4, 7, 1000);
    }
    CHECK(b.attention().empty());
    CHECK(b.line("task-controller.lost").moments.empty());
    CHECK(b.conclude().state == DialogueState::active);
  }
}

TEST_CASE("the recorder's clock is put back", "[dialogue]") {
  DialogueBench bench;
  bench.connect();
  bench.pass(30);
  // Ten minutes back, and on from there.
  TimeNs now = bench.time(-600);
  std::uint64_t frame = bench.frame();
  const auto status =
      parse_task_controller_status(std::vector<std::uint8_t>{0xFE, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0xFF});
  Message message;
  const std::vector<std::uint8_t> task = {0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0};
  message.data = task;
  const auto round = [&] {
    now += 2 * kSecond;
    message.start = message.end = now;
    message.first_frame = message.last_frame = ++frame;
    bench.link.on_message(message, true);
    bench.link.on_status(*status, {now, ++frame});
    bench.link.on_time(now);
  };
  for (int i = 0; i < 10; ++i) round();
  CHECK(bench.attention().empty());
  // What is lost from now on is found.
  for (int i = 0; i < 10; ++i) {
    now += 2 * kSecond;
    message.start = message.end = now;
    message.first_frame = message.last_frame = ++frame;
    bench.link.on_message(message, true);
    bench.link.on_time(now);
  }
  CHECK(bench.attention() == Codes{"task-controller.lost"});
}

TEST_CASE("the client's task state", "[dialogue]") {
  SECTION("follows") {
    DialogueBench bench;
    bench.connect();
    bench.pass(10);
    bench.status(true);
    bench.pass(10.4);
    bench.client_task(true);
    bench.pass(60);
    bench.status(false);
    bench.pass(60.3);
    bench.client_task(false);
    bench.pass(80);
    CHECK(bench.attention().empty());
    CHECK_THAT(bench.line("device.task-out-of-step").text, Contains("2 changes"));
    CHECK(bench.happened("task started"));
  }
  SECTION("does not follow") {
    DialogueBench bench;
    bench.connect();
    bench.pass(10);
    bench.status(true);
    bench.pass(60);
    CHECK(bench.attention() == Codes{"device.task-out-of-step"});
    const CheckLine& line = bench.line("device.task-out-of-step");
    REQUIRE(line.moments.size() == 1);
    CHECK(to_seconds(line.moments[0].at.time - DialogueBench::kStart) == Approx(10).margin(0.11));
  }
  SECTION("too short to judge, or the client silent") {
    DialogueBench bench;
    bench.connect();
    bench.pass(10);
    bench.status(true);
    bench.pass(13);
    bench.status(false);
    bench.pass(20);
    bench.status(true);
    bench.stop_client();
    bench.pass(24.5);
    CHECK(bench.attention().empty());
  }
}

TEST_CASE("failed transfers are told with their reason", "[dialogue]") {
  DialogueBench bench;
  bench.begin();
  const PoolData pool = DialogueBench::pool();
  bench.announce(pool.size());
  TransferEnd end;
  end.protocol = Carrier::rts_cts;
  end.outcome = TransferOutcome::aborted;
  end.pgn = kPgnProcessData;
  end.bytes_expected = pool.size() + 1;
  end.bytes_received = 70;
  end.start = bench.time(0.5);
  end.first_frame = 900;
  end.abort_reason = 3;
  bench.link.on_transfer_failed(end, true);
  CHECK(bench.happened("failed after 70 bytes: timeout"));
  // It is sent again, and is whole.
  bench.part(pool);
  bench.part_received(pool.size());
  bench.activate();
  bench.pass(20);
  CHECK(bench.attention().empty());
  CHECK(bench.device.pool.elements.size() == 5);
}

TEST_CASE("events are bounded", "[dialogue]") {
  DialogueBench bench;
  bench.begin();
  for (int i = 0; i < 1000; ++i) bench.labels(false);
  const LinkRecord record = bench.conclude();
  CHECK(record.events.size() == Dialogue::kMaxEvents);
  CHECK(record.events_not_listed == 1 + 2000 - Dialogue::kMaxEvents);  // the announcement before them
}

TEST_CASE("a data logger is called one", "[dialogue]") {
  DialogueBench bench({}, true);
  bench.connect();
  bench.pass(20);
  CHECK(bench.line("task-controller.lost").subject == "data logger");
  CHECK(bench.conclude().data_logger);
  CHECK(bench.attention().empty());
}
