// A program that a signal ends leaves no half file, and a file in its place stays.
#include "io/unfinished.hpp"

#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <csignal>

#include "io/output_file.hpp"
#include "unit/temp_folder.hpp"

using namespace tramlog;

namespace {

/// Status of a child that does this and then ends without destructors.
template <class Act>
int status_after(Act act) {
  const pid_t child = ::fork();
  if (child == 0) {
    remove_unfinished_at_signals();
    act();
    ::_exit(7);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return status;
}

std::size_t entries(const std::string& folder) {
  return static_cast<std::size_t>(std::distance(std::filesystem::directory_iterator(folder), {}));
}

}  // namespace

TEST_CASE("a signal removes what is unfinished and ends the program as ever") {
  const test::TempFolder folder;
  const std::string place = folder.path("out.txt");
  const std::string home = std::filesystem::path(place).parent_path();
  const int signal = GENERATE(SIGTERM, SIGINT, SIGHUP);
  const int status = status_after([&] {
    std::signal(signal, SIG_DFL);
    remove_unfinished_at_signals();
    auto done = OutputFile::create(folder.path("done.txt"));
    (*done)->write("whole");
    (void)(*done)->finish();
    auto file = OutputFile::create(place);
    auto second = OutputFile::create(place + "2");
    (*file)->write("half");
    if (entries(home) != 3) ::_exit(8);
    std::raise(signal);
  });
  CHECK(WIFSIGNALED(status));
  CHECK(WTERMSIG(status) == signal);
  CHECK(entries(home) == 1);
  CHECK(std::filesystem::exists(folder.path("done.txt")));
}

TEST_CASE("a signal that is ignored stays ignored") {
  const int status = status_after([] {
    std::signal(SIGHUP, SIG_IGN);
    remove_unfinished_at_signals();
    std::raise(SIGHUP);
  });
  CHECK(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 7);
}

TEST_CASE("more unfinished files than are noted do no harm") {
  const test::TempFolder folder;
  std::vector<std::unique_ptr<OutputFile>> files;
  for (int i = 0; i < 40; ++i) {
    auto file = OutputFile::create(folder.path(std::to_string(i)));
    REQUIRE(file);
    files.push_back(std::move(*file));
  }
  for (auto& file : files) CHECK(file->finish());
  CHECK(entries(std::filesystem::path(folder.path("x")).parent_path()) == 40);
}
