#include "record/run_folder.hpp"

#include <sys/stat.h>
#include <sys/wait.h>

#include "recording.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

bool told(const RunFolder& folder, const std::string& sentence) {
  const auto& mended = folder.mended();
  return std::find(mended.begin(), mended.end(), sentence) != mended.end();
}

RunFolder opened(const Folder& folder) {
  auto result = RunFolder::open(folder.path());
  if (!result) FAIL(result.error().what);
  return std::move(*result);
}

}  // namespace

TEST_CASE("A folder is made if its parent is there, for nobody else to read") {
  const Folder parent;
  const std::string path = parent.path("recording");
  {
    auto folder = RunFolder::open(path);
    REQUIRE(folder.ok());
    CHECK(folder->run() == 1);
    CHECK_FALSE(folder->previous());
    CHECK(folder->mended().empty());
  }
  struct stat status {};
  REQUIRE(::stat(path.c_str(), &status) == 0);
  CHECK((status.st_mode & 0007) == 0);
  const auto missing = RunFolder::open(parent.path("no/such"));
  REQUIRE_FALSE(missing.ok());
  CHECK(missing.error().kind == ErrorKind::environment);
  parent.write("file", "x");
  const auto file = RunFolder::open(parent.path("file"));
  REQUIRE_FALSE(file.ok());
  CHECK(file.error().what == "this is no folder");
}

TEST_CASE("One recorder a folder; the other is named") {
  const Folder folder;
  {
    const RunFolder first = opened(folder);
    const auto second = RunFolder::open(folder.path());
    REQUIRE_FALSE(second.ok());
    CHECK(second.error().what ==
          "another recorder (process " + std::to_string(::getpid()) + ") uses this folder");
    CHECK(second.error().where == folder.path());
    // Another process sees the same.
    const pid_t child = ::fork();
    if (child == 0) ::_exit(RunFolder::open(folder.path()).ok() ? 1 : 0);
    int status = -1;
    REQUIRE(::waitpid(child, &status, 0) == child);
    CHECK(status == 0);
  }
  CHECK(opened(folder).run() == 2);
}

TEST_CASE("The lock of a recorder that was killed is free") {
  const Folder folder;
  int ready[2];
  REQUIRE(::pipe(ready) == 0);
  const pid_t child = ::fork();
  if (child == 0) {
    const auto held = RunFolder::open(folder.path());
    const char done = held.ok() ? 'y' : 'n';
    if (::write(ready[1], &done, 1) != 1) ::_exit(1);
    for (;;) ::pause();
  }
  char done = 0;
  REQUIRE(::read(ready[0], &done, 1) == 1);
  REQUIRE(done == 'y');
  const auto refused = RunFolder::open(folder.path());
  REQUIRE_FALSE(refused.ok());
  CHECK(refused.error().what.find(std::to_string(child)) != std::string::npos);
  ::kill(child, SIGKILL);
  ::waitpid(child, nullptr, 0);
  ::close(ready[0]);
  ::close(ready[1]);
  CHECK(opened(folder).run() == 2);
}

TEST_CASE("No number comes back") {
  const Folder folder;
  SECTION("after everything was removed") {
    CHECK(opened(folder).run() == 1);
    write_segment(folder.path(name_of(1, 1)));
    CHECK(opened(folder).run() == 2);
    fs::remove(folder.path(name_of(1, 1)));
    CHECK(opened(folder).run() == 3);
  }
  SECTION("the files' numbers count without a state file") {
    write_segment(folder.path(name_of(41, 9, true)));
    CHECK(opened(folder).run() == 42);
  }
  SECTION("also those of what is swept away") {
    folder.write(name_of(77, 1, true) + ".part", "x");
    folder.write(name_of(78, 1) + ".keep", "");
    folder.write(name_of(79, 1), "");
    CHECK(opened(folder).run() == 80);
    CHECK(folder.names().empty());
    CHECK(opened(folder).run() == 81);
  }
  SECTION("a state file that says nothing is told") {
    for (const std::string text :
         {"", "run", "run 12", "run 0000000012", "run 99999999999\n", "run 0000000012\n\n"}) {
      folder.write("last-run", text);
      write_segment(folder.path(name_of(5, 1)));
      const RunFolder now = opened(folder);
      INFO(text);
      CHECK(now.run() == 6);
      CHECK(now.mended().size() == 1);
      CHECK(folder.read("last-run") == "run 0000000006\n");
    }
  }
  SECTION("the state file may be ahead of the files") {
    folder.write("last-run", "run 0000001000\n");
    write_segment(folder.path(name_of(5, 1)));
    CHECK(opened(folder).run() == 1001);
  }
  SECTION("the last number of all") {
    write_segment(folder.path(name_of(4294967295u, 1)));
    CHECK_FALSE(RunFolder::open(folder.path()).ok());
  }
}

TEST_CASE("What the run before left: time, and whether it ended in good order") {
  const Folder folder;
  const TimeNs second = kStart + 60 * kSecond;
  // Run 2 comes after run 1, whatever the clock said.
  write_segment(folder.path(name_of(1, 1, false, second)), {1, second, 10, true});
  const bool packed = GENERATE(false, true);
  const bool ends = GENERATE(false, true);
  write_segment(folder.path(name_of(2, 1)), {2, kStart, 100, false});
  write_segment(folder.path(name_of(2, 2, packed, kStart + kSecond)), {2, kStart + kSecond, 50, ends});
  const RunFolder now = opened(folder);
  REQUIRE(now.previous());
  CHECK(now.run() == 3);
  CHECK(now.previous()->run == 2);
  CHECK(now.previous()->last_segment == name_of(2, 2, packed, kStart + kSecond));
  CHECK(now.previous()->clean_end == ends);
  CHECK(now.previous()->last_time == kStart + kSecond + 50 * kMillisecond + (ends ? 5 : 0));
}

TEST_CASE("The end is found behind more frames than the end of the file holds") {
  const Folder folder;
  write_segment(folder.path(name_of(1, 1)), {1, kStart, 20'000, true});
  // Frames without statistics behind the note: longer than what is looked at first.
  std::string bytes = folder.read(name_of(1, 1));
  const std::string more = segment_bytes({1, kStart + kHour, 20'000, false});
  const auto starts = block_starts(more);
  // Without section, note, interfaces (the file has them) and the statistics at the end.
  bytes += more.substr(starts[4], starts[starts.size() - 2] - starts[4]);
  folder.write(name_of(1, 1), bytes);
  const RunFolder now = opened(folder);
  REQUIRE(now.previous());
  CHECK(now.previous()->last_time == kStart + kHour + 19'999 * kMillisecond);
  CHECK(now.previous()->clean_end);  // the last notice, whatever frames follow
}

TEST_CASE("A last segment that says nothing: the one before counts, and the end was not clean") {
  const Folder folder;
  write_segment(folder.path(name_of(1, 1)), {1, kStart, 10, true});
  folder.write(name_of(1, 2), std::string(5000, 'x'));
  const RunFolder now = opened(folder);
  REQUIRE(now.previous());
  CHECK(now.previous()->last_segment == name_of(1, 1));
  CHECK(now.previous()->last_time == kStart + 10 * kMillisecond + 5);
  CHECK_FALSE(now.previous()->clean_end);
  CHECK(told(now, name_of(1, 2) + ": is no recording, left as it is"));
  CHECK(folder.read(name_of(1, 2)) == std::string(5000, 'x'));
}

TEST_CASE("Without permission to write it is said so, and nothing is left behind") {
  const Folder parent;
  const std::string path = parent.path("recording");
  fs::create_directory(path);
  fs::permissions(parent.path(), fs::perms(0755));
  fs::permissions(path, fs::perms(0555));
  // Root may write anywhere: as somebody else, in a process of its own.
  const pid_t child = ::fork();
  if (child == 0) {
    if (::geteuid() == 0 && ::seteuid(65534) != 0) ::_exit(3);
    const auto refused = RunFolder::open(path);
    if (refused.ok() || refused.error().kind != ErrorKind::environment) ::_exit(1);
    ::_exit(refused.error().what == "cannot use the folder of the recording (Permission denied)" ? 0 : 2);
  }
  int status = -1;
  REQUIRE(::waitpid(child, &status, 0) == child);
  CHECK(status == 0);
  fs::permissions(path, fs::perms(0755));
  CHECK(fs::is_empty(path));
}
