#include <catch2/catch.hpp>

#include "unit/implement/dialogue_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;
using Catch::Matchers::Contains;

namespace {

using Codes = std::vector<std::string>;
constexpr unsigned kBin = 4;

std::unique_ptr<DialogueBench> connected(unsigned version = 4) {
  auto bench = std::make_unique<DialogueBench>();
  bench->connect(version, version);
  bench->pass(5);
  return bench;
}

}  // namespace

TEST_CASE("requests and their answers", "[dialogue]") {
  const auto bench = connected();
  for (int i = 0; i < 20; ++i) {
    bench->pass(5 + i);
    bench->server_says(DialogueBench::variable(2, kBin, 81, 0xFFFFFFFF));
    bench->pass(5 + i + 0.3);
    bench->tell(kBin, 81, static_cast<std::uint32_t>(100 + i));
  }
  bench->server_says(DialogueBench::variable(2, 0, 57343, 0));  // brings no value of its own
  bench->pass(40);
  CHECK(bench->attention().empty());
  const LinkRecord record = bench->conclude();
  CHECK(record.requests == 21);
  CHECK(record.answers == 20);
  CHECK_THAT(bench->line("process-data.unanswered").text, Contains("20 requests were answered"));
}

TEST_CASE("a request without an answer", "[dialogue]") {
  const auto bench = connected();
  bench->server_says(DialogueBench::variable(2, kBin, 81, 0));
  bench->pass(10);
  CHECK(bench->attention() == Codes{"process-data.unanswered"});
  const CheckLine& line = bench->line("process-data.unanswered");
  CHECK_THAT(line.text, Contains("1 request stayed without an answer within 2.00 s"));
  CHECK_THAT(line.text, Contains("DDI 81"));
  CHECK_THAT(line.text, Contains("seed bin"));
  CHECK(line.start == DialogueBench::time(5));
}

TEST_CASE("a burst of requests is worked through one by one", "[dialogue]") {
  const auto bench = connected();
  for (unsigned i = 0; i < 100; ++i) bench->server_says(DialogueBench::variable(2, 1, 161 + i % 2, i));
  for (unsigned i = 0; i < 100; ++i) bench->server_says(DialogueBench::variable(2, kBin, 1000 + i, 0));
  // Ten a second.
  bench->pass(6);
  bench->tell(1, 161, 0);
  bench->tell(1, 162, 0);
  for (unsigned i = 0; i < 100; ++i) {
    bench->pass(bench->now() + 0.1);
    bench->tell(kBin, 1000 + i, 0);
  }
  bench->pass(60);
  CHECK(bench->verdict("process-data.unanswered") == Verdict::pass);
  CHECK(bench->conclude().answers == 200);
}

TEST_CASE("requests to a client that is not there are not judged", "[dialogue]") {
  const auto bench = connected();
  bench->stop_client();
  bench->pass(20);
  bench->server_says(DialogueBench::variable(2, kBin, 81, 0));
  bench->pass(40);
  CHECK(bench->attention() == Codes{"device.client-lost"});
  CHECK(bench->conclude().unanswered == 0);
}

TEST_CASE("values that want an acknowledgement", "[dialogue]") {
  const auto bench = connected();
  bench->server_says(DialogueBench::variable(0xA, kBin, 6, 18000));
  bench->pass(5.2);
  bench->client_says(DialogueBench::acknowledgement(kBin, 6, 0, 0xA));
  bench->server_says(
      DialogueBench::variable(3, kBin, 6, 19000));  // a plain one is only answered if it is refused
  bench->pass(20);
  CHECK(bench->attention().empty());
  CHECK(bench->conclude().sets == 2);
  CHECK(bench->conclude().acknowledged == 1);
  CHECK_THAT(bench->line("process-data.refused").text, Contains("2 set values and 0 measurement commands"));
  bench->server_says(DialogueBench::variable(0xA, kBin, 6, 20000));
  bench->pass(30);
  CHECK(bench->attention() == Codes{"process-data.unanswered"});
  CHECK_THAT(bench->line("process-data.unanswered").text,
             Contains("no acknowledgement came of set value and acknowledge"));
}

TEST_CASE("refusals in words, with what the description says about them", "[dialogue]") {
  const auto refused = [](unsigned version, unsigned command, unsigned element, unsigned ddi,
                          std::uint32_t raw, unsigned errors) {
    const auto bench = connected(version);
    bench->server_says(DialogueBench::variable(command, element, ddi, raw));
    bench->pass(5.2);
    bench->client_says(
        DialogueBench::acknowledgement(element, ddi, errors, version >= 4 ? static_cast<int>(command) : -1));
    bench->pass(20);
    CHECK(bench->verdict("process-data.refused") == Verdict::attention);
    CHECK(bench->conclude().unanswered == 0);
    return bench->line("process-data.refused").text;
  };
  // The example of 1.5: not settable.
  for (const unsigned version : {3U, 4U}) {
    const std::string total = refused(version, version >= 4 ? 0xA : 3, kBin, 7, 18000, 0x10);
    CHECK_THAT(total, Contains("process data not settable; so says its description"));
    CHECK_THAT(total, Contains("\"seed bin\""));
    CHECK_THAT(total, Contains("180"));  // kg/ha
    CHECK_THAT(refused(version, 4, kBin, 6, 1000, 0x08), Contains("; so says its description"));
    CHECK_THAT(refused(version, 4, kBin, 7, 1000, 0x08),
               Contains("; but its description lists this trigger method"));
    CHECK_THAT(refused(version, 4, kBin, 7, 50, 0x20),
               Contains("; 50 ms were asked for, 100 ms to 60 s are allowed"));
    CHECK_THAT(refused(version, 2, kBin, 99, 0, 0x04), Contains("; its description does not have it either"));
    CHECK_THAT(refused(version, 2, kBin, 81, 0, 0x04), Contains("; but its description has it"));
  }
  CHECK_THAT(refused(4, 0xA, kBin, 6, 90000, 0x80), Contains("outside"));
}

TEST_CASE("before version 4 the error bits tell which command was refused", "[dialogue]") {
  const auto bench = connected(3);
  bench->server_says(DialogueBench::variable(3, kBin, 6, 18000));
  bench->server_says(DialogueBench::variable(4, kBin, 6, 1000));
  bench->pass(5.3);
  bench->client_says(DialogueBench::acknowledgement(kBin, 6, 0x08, -1));
  bench->pass(20);
  CHECK_THAT(bench->line("process-data.refused").text, Contains("refuses time interval of"));
  CHECK(bench->conclude().measurements_refused == 1);
  CHECK(bench->conclude().refused == 0);
  // So its values are not waited for.
  CHECK(bench->verdict("process-data.value-missing") == Verdict::not_shown);
}

TEST_CASE("all error bits at once are a client's defect, not eight errors", "[dialogue]") {
  const auto bench = connected();
  bench->server_says(DialogueBench::variable(4, kBin, 7, 1000));
  bench->client_says(DialogueBench::acknowledgement(kBin, 7, 0xFF, 4));
  for (double at = 6; at < 20; at += 1) {
    bench->pass(at);
    bench->tell(kBin, 7, 1000);
  }
  CHECK(bench->attention().empty());
  CHECK_THAT(bench->line("process-data.refused").text,
             Contains("1 acknowledgement came with all error bits set"));
}

TEST_CASE("values that stay away although a time interval was accepted", "[dialogue]") {
  for (const unsigned version : {3U, 4U}) {
    const auto bench = connected(version);
    bench->server_says(DialogueBench::variable(4, kBin, 7, 1000));
    if (version >= 4) bench->client_says(DialogueBench::acknowledgement(kBin, 7, 0, 4));
    for (double at = 6; at < 20; at += 1) {
      bench->pass(at);
      bench->tell(kBin, 7, 1000);
    }
    CHECK(bench->verdict("process-data.value-missing") == Verdict::pass);
    bench->pass(21.9);  // 3 periods are not over
    CHECK(bench->verdict("process-data.value-missing") == Verdict::pass);
    bench->pass(40);
    CHECK(bench->attention() == Codes{"process-data.value-missing"});
    const CheckLine& line = bench->line("process-data.value-missing");
    CHECK_THAT(line.text, Contains("every 1000 ms"));
    CHECK_THAT(line.text, Contains("DDI 7"));
    REQUIRE(line.moments.size() == 1);  // one silence, one moment
    CHECK(line.start == DialogueBench::time(19));
    CHECK(bench->device.values.find({kBin, 7})->measurements[0]);  // it stays in force
    bench->tell(kBin, 7, 1000);
    bench->pass(60);
    CHECK(bench->line("process-data.value-missing").moments.size() == 2);
  }
}

TEST_CASE("a measurement that version 4 never acknowledged promises nothing", "[dialogue]") {
  const auto bench = connected();
  bench->server_says(DialogueBench::variable(4, kBin, 7, 1000));
  bench->pass(20);
  CHECK(bench->attention() == Codes{"process-data.unanswered"});
}

TEST_CASE("measurements end at every task edge", "[dialogue]") {
  const auto bench = connected(3);
  bench->server_says(DialogueBench::variable(4, kBin, 7, 1000));
  bench->tell(kBin, 7, 1000);
  bench->pass(6);
  bench->tell(kBin, 7, 1000);
  REQUIRE(bench->device.values.find({kBin, 7})->measurements[0]);
  bench->status(true);
  bench->client_task(true);
  CHECK_FALSE(bench->device.values.find({kBin, 7})->measurements[0]);
  bench->pass(30);
  CHECK(bench->attention().empty());
  // Set up anew, and off by its own value.
  bench->server_says(DialogueBench::variable(4, kBin, 7, 1000));
  bench->server_says(DialogueBench::variable(8, kBin, 7, 5));
  bench->tell(kBin, 7, 1000);
  CHECK(bench->device.values.find({kBin, 7})->measurements[4]);
  bench->server_says(DialogueBench::variable(4, kBin, 7, 0));
  CHECK_FALSE(bench->device.values.find({kBin, 7})->measurements[0]);
  CHECK(bench->device.values.find({kBin, 7})->measurements[4]);
  bench->pass(60);
  CHECK(bench->attention().empty());
  // An interval out of range is not waited for.
  bench->server_says(DialogueBench::variable(4, kBin, 7, 90));
  bench->pass(90);
  CHECK(bench->attention().empty());
}

TEST_CASE("one connection's task edge leaves the other's measurements alone", "[dialogue]") {
  const auto bench = connected(3);
  Dialogue logger(bench->device, bench->desk, 2, 0xF6, true);
  bench->server_says(DialogueBench::variable(4, kBin, 7, 1000));
  bench->tell(kBin, 7, 1000);
  TaskControllerStatus status;
  logger.on_status(status, bench->mark(6));
  status.task_active = true;
  logger.on_status(status, bench->mark(6.5));
  CHECK(bench->device.values.find({kBin, 7})->measurements[0]);
}

TEST_CASE("commands to what the description does not have", "[dialogue]") {
  const auto bench = connected();
  bench->server_says(DialogueBench::variable(3, kBin, 6, 18000));
  bench->server_says(DialogueBench::variable(2, kBin, 10, 0));
  bench->tell(kBin, 10, 30000);
  bench->pass(10);
  CHECK(bench->verdict("process-data.undeclared") == Verdict::pass);
  // More than it declares, but nobody minds.
  bench->server_says(DialogueBench::variable(3, kBin, 7, 18000));
  bench->server_says(DialogueBench::variable(6, kBin, 7, 5));
  bench->client_says(DialogueBench::acknowledgement(kBin, 7, 0, 6));
  bench->pass(20);
  CHECK(bench->attention().empty());
  CHECK_THAT(bench->line("process-data.undeclared").text, Contains("2 commands went beyond"));
  bench->server_says(DialogueBench::variable(3, 9, 6, 18000));
  bench->server_says(DialogueBench::variable(3, kBin, 1, 18000));
  bench->pass(30);
  CHECK(bench->attention() == Codes{"process-data.undeclared"});
  const CheckLine& line = bench->line("process-data.undeclared");
  CHECK(line.moments.size() == 2);
  CHECK_THAT(line.text, Contains("old copy"));
  CHECK_THAT(line.text, Contains("element 9"));
}

TEST_CASE("a description that is only guessed proves nothing against a command", "[dialogue]") {
  KnownPools pools = {
      {Name(DialogueBench::kName), DialogueBench::pool(), "pool library", PoolSource::library}};
  DialogueBench bench(pools);
  bench.status(false);
  bench.client_task(false);
  bench.tell(kBin, 7, 1000);
  REQUIRE_FALSE(bench.device.pool.empty());
  bench.server_says(DialogueBench::variable(3, 9, 6, 18000));
  bench.pass(20);
  CHECK(bench.attention().empty());
  CHECK(bench.verdict("process-data.undeclared") == Verdict::not_shown);
}
