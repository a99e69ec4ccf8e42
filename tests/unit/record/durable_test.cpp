#include "record/durable.hpp"

#include <sys/resource.h>

#include <csignal>

#include "unit/record/recording.hpp"

using namespace tramlog;
using namespace tramlog::test;

TEST_CASE("A file is replaced as a whole or not at all") {
  Folder folder;
  CHECK(replace_file(folder.path("summary.txt"), "first").ok());
  CHECK(folder.read("summary.txt") == "first");
  std::signal(SIGXFSZ, SIG_IGN);
  rlimit before{}, limit{};
  ::getrlimit(RLIMIT_FSIZE, &before);
  limit = before;
  limit.rlim_cur = 3;
  ::setrlimit(RLIMIT_FSIZE, &limit);
  const bool told = replace_file(folder.path("summary.txt"), "second").ok();
  ::setrlimit(RLIMIT_FSIZE, &before);
  CHECK_FALSE(told);
  CHECK(folder.read("summary.txt") == "first");
  CHECK(folder.names() == std::vector<std::string>{"summary.txt"});
  CHECK_FALSE(replace_file(folder.path("none") + "/summary.txt", "x").ok());
  CHECK(replace_file(folder.path("summary.txt"), "").ok());
  CHECK(folder.read("summary.txt").empty());
}

