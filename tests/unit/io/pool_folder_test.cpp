#include "io/pool_folder.hpp"

#include <unistd.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <filesystem>
#include <fstream>

using namespace tramlog;
namespace fs = std::filesystem;

namespace {

struct Folder {
  fs::path path;
  Folder() {
    std::string pattern = (fs::temp_directory_path() / "pools-XXXXXX").string();
    REQUIRE(::mkdtemp(pattern.data()) != nullptr);
    path = pattern;
  }
  ~Folder() {
    std::error_code ignored;
    fs::remove_all(path, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;

  void put(const std::string& name, const std::string& bytes, int seconds_ago) const {
    std::ofstream(path / name, std::ios::binary) << bytes;
    fs::last_write_time(path / name, fs::file_time_type::clock::now() - std::chrono::seconds(seconds_ago));
  }
};

std::string text(const PoolFile& file) {
  return {file.bytes.begin(), file.bytes.end()};
}

}  // namespace

TEST_CASE("a library gives its files, the newest last") {
  const Folder folder;
  folder.put("b.pool", std::string("DVC\0\0", 5), 50);
  folder.put("a.pool", "DET", 10);
  folder.put("c.pool", "DPD", 100);
  folder.put("notes.txt", "DPT", 5);
  std::vector<Error> problems;
  const auto files = read_pool_folder(folder.path.string(), problems);
  REQUIRE(files.ok());
  CHECK(problems.empty());
  REQUIRE(files.value().size() == 3);
  CHECK(text(files.value()[0]) == "DPD");
  CHECK(text(files.value()[1]) == std::string("DVC\0\0", 5));
  CHECK(text(files.value()[2]) == "DET");
  CHECK(files.value()[2].path == (folder.path / "a.pool").string());
}

TEST_CASE("a library that is not there is empty; one that is a file is a mistake") {
  const Folder folder;
  std::vector<Error> problems;
  const auto none = read_pool_folder((folder.path / "none").string(), problems);
  REQUIRE(none.ok());
  CHECK(none.value().empty());
  folder.put("file", "x", 0);
  const auto file = read_pool_folder((folder.path / "file").string(), problems);
  REQUIRE_FALSE(file.ok());
  CHECK(file.error().kind == ErrorKind::usage);
  CHECK(problems.empty());
}

TEST_CASE("what cannot be read in a library is told, the rest is read") {
  const Folder folder;
  folder.put("good.pool", "DVC", 10);
  folder.put("large.pool", std::string(kMaxPoolFileBytes + 1, 'x'), 20);
  fs::create_directory(folder.path / "folder.pool");
  std::vector<Error> problems;
  const auto files = read_pool_folder(folder.path.string(), problems);
  REQUIRE(files.ok());
  REQUIRE(files.value().size() == 1);
  CHECK(text(files.value()[0]) == "DVC");
  REQUIRE(problems.size() == 2);
  for (const Error& problem : problems) CHECK_FALSE(problem.where.empty());
}

TEST_CASE("of too many files the newest are read, and it is told") {
  const Folder folder;
  for (std::size_t i = 0; i < kMaxPoolFiles + 3; ++i)
    folder.put(std::to_string(i) + ".pool", std::to_string(i), static_cast<int>(i));
  std::vector<Error> problems;
  const auto files = read_pool_folder(folder.path.string(), problems);
  REQUIRE(files.ok());
  CHECK(files.value().size() == kMaxPoolFiles);
  CHECK(text(files.value().back()) == "0");
  CHECK(text(files.value().front()) == std::to_string(kMaxPoolFiles - 1));
  REQUIRE(problems.size() == 1);
  CHECK(problems[0].where == folder.path.string());
}

TEST_CASE("what is written is read again, and written once") {
  const Folder folder;
  const std::string library = (folder.path / "deep" / "pools").string();
  const std::vector<std::uint8_t> bytes{'D', 'V', 'C', 0, 0xFF};
  const auto first = write_pool_file(library, "a0088000b5e0d6d9-44524c312e30", bytes);
  REQUIRE(first.ok());
  CHECK(first.value());
  const auto again = write_pool_file(library, "a0088000b5e0d6d9-44524c312e30", bytes);
  REQUIRE(again.ok());
  CHECK_FALSE(again.value());
  const auto file = read_pool_file(library + "/a0088000b5e0d6d9-44524c312e30.pool");
  REQUIRE(file.ok());
  CHECK(file.value().bytes == bytes);
  const auto changed =
      write_pool_file(library, "a0088000b5e0d6d9-44524c312e30", std::vector<std::uint8_t>{'D'});
  REQUIRE(changed.ok());
  CHECK(changed.value());
  folder.put("file", "x", 0);
  CHECK(write_pool_file((folder.path / "file").string(), "x", bytes).error().kind == ErrorKind::environment);
}
