// events.jsonl, summaries, and the count of boots.
#include "daemon/run_files.hpp"

#include <csignal>
#include <sys/resource.h>

#include "unit/daemon/scribe_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

using Names = std::vector<std::string>;

TEST_CASE("Events go on from file to file, the oldest goes") {
  Folder folder;
  EventFile events(folder.path(), 100, 2);
  std::string all;
  for (char c = 'a'; c <= 'j'; ++c) {
    const std::string line = std::string(49, c) + "\n";
    REQUIRE(events.append(line));
    all += line;
  }
  CHECK(folder.names() == Names{"events-1.jsonl", "events-2.jsonl", "events.jsonl"});
  CHECK(folder.read("events-2.jsonl") + folder.read("events-1.jsonl") + folder.read("events.jsonl") == all.substr(200));
  CHECK(folder.read("events.jsonl").size() == 100);
  // One that is larger than a file is kept whole.
  const std::string large = std::string(500, 'z') + "\n";
  REQUIRE(events.append(large));
  CHECK(folder.read("events.jsonl") == large);
  CHECK(events.append(""));
  CHECK(folder.read("events.jsonl") == large);
}

TEST_CASE("With no older files the present one is begun anew") {
  Folder folder;
  EventFile events(folder.path(), 10, 0);
  REQUIRE(events.append("12345678\n"));
  REQUIRE(events.append("second\n"));
  CHECK(folder.names() == Names{"events.jsonl"});
  CHECK(folder.read("events.jsonl") == "second\n");
}

TEST_CASE("New limits hold from the next line on") {
  Folder folder;
  EventFile events(folder.path(), 1'000, 5);
  REQUIRE(events.append("one\n"));
  events.set_limits(5, 1);
  REQUIRE(events.append("two\n"));
  REQUIRE(events.append("three\n"));
  CHECK(folder.names() == Names{"events-1.jsonl", "events.jsonl"});
  CHECK(folder.read("events-1.jsonl") == "two\n");
}

TEST_CASE("A later run goes on in the same file, and a half line of a power cut stays alone") {
  Folder folder;
  folder.write("events.jsonl", "{\"whole\":1}\n{\"ha");
  {
    EventFile events(folder.path(), 1'000, 1);
    REQUIRE(events.append("{\"next\":2}\n"));
  }
  CHECK(folder.read("events.jsonl") == "{\"whole\":1}\n{\"ha\n{\"next\":2}\n");
  EventFile events(folder.path(), 1'000, 1);
  REQUIRE(events.append("{\"third\":3}\n"));
  CHECK(folder.read("events.jsonl").ends_with("}\n{\"third\":3}\n"));
}

TEST_CASE("A file that takes only half: told, and whole lines follow once it is well") {
  Folder folder;
  std::signal(SIGXFSZ, SIG_IGN);
  EventFile events(folder.path(), 1'000'000, 1);
  REQUIRE(events.append("{\"first\":1}\n"));
  rlimit before{}, limit{};
  ::getrlimit(RLIMIT_FSIZE, &before);
  limit = before;
  limit.rlim_cur = 20;
  ::setrlimit(RLIMIT_FSIZE, &limit);
  const bool told = events.append("{\"second\":22222222222}\n");
  const bool again = events.append("{\"third\":3}\n");
  ::setrlimit(RLIMIT_FSIZE, &before);
  CHECK_FALSE(told);
  CHECK_FALSE(again);
  REQUIRE(events.append("{\"fourth\":4}\n"));
  const std::string text = folder.read("events.jsonl");
  CHECK(text.starts_with("{\"first\":1}\n"));
  CHECK(text.ends_with("\n{\"fourth\":4}\n"));
}

TEST_CASE("A folder that is not there is told and no harm; a file that was removed is made again") {
  Folder folder;
  EventFile nowhere(folder.path("none"), 100, 1);
  CHECK_FALSE(nowhere.append("x\n"));
  EventFile events(folder.path(), 1'000, 1);
  REQUIRE(events.append("one\n"));
  fs::remove(folder.path("events.jsonl"));
  REQUIRE(events.append("two\n"));
  CHECK(folder.read("events.jsonl") == "two\n");
}

TEST_CASE("Summaries of the run before are put away, and only so many are kept") {
  Folder folder;
  for (std::uint32_t run = 1; run <= 5; ++run) {
    folder.write("summary.txt", "text " + std::to_string(run));
    folder.write("summary.json", "json " + std::to_string(run));
    put_summaries_away(folder.path(), run, 3);
  }
  CHECK(folder.names() == Names{"summary-run-000003.json", "summary-run-000003.txt", "summary-run-000004.json", "summary-run-000004.txt",
                                "summary-run-000005.json", "summary-run-000005.txt"});
  CHECK(folder.read("summary-run-000004.txt") == "text 4");
  // A run that left none takes nothing away; foreign files stay.
  folder.write("summary-of-mine.txt", "x");
  put_summaries_away(folder.path(), 6, 3);
  CHECK(folder.names().size() == 7);
  folder.write("summary.txt", "x");
  put_summaries_away(folder.path(), 7, 0);
  CHECK(folder.names() == Names{"summary-of-mine.txt"});
  put_summaries_away(folder.path("none"), 1, 1);
}

TEST_CASE("A boot is counted once, however often the recorder starts in it") {
  Folder folder;
  CHECK(count_boot(folder.path()) == 1);
  CHECK(count_boot(folder.path()) == 1);
  // As if another boot had written it.
  folder.write("last-boot", "41 00000000-0000-0000-0000-000000000000\n");
  CHECK(count_boot(folder.path()) == 42);
  CHECK(count_boot(folder.path()) == 42);
  CHECK(folder.names() == Names{"last-boot"});
}

TEST_CASE("A damaged count begins anew and is never an error; where it cannot be kept there is none") {
  Folder folder;
  for (const std::string& bytes : {std::string(), std::string("\n"), std::string("x"), std::string("-5 id"), std::string("99999999999999999999999 id"), std::string(" id"), std::string(500, '9')}) {
    folder.write("last-boot", bytes);
    INFO(bytes.substr(0, 30));
    const auto number = count_boot(folder.path());
    CHECK(number >= 1);
    CHECK(count_boot(folder.path()) == number);
  }
  CHECK(count_boot(folder.path("none")) == 0);
}
