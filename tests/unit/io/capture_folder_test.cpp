// Which files of a folder are its captures.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

#include "io/capture_folder.hpp"
#include "unit/temp_folder.hpp"

using namespace tramlog;
using tramlog::test::TempFolder;

TEST_CASE("the captures of a folder: by ending, by name, a packed one only where the plain one is gone") {
  TempFolder folder;
  const auto touch = [&](const std::string& name) { std::ofstream(folder.path() + "/" + name) << "x"; };
  for (const char* name :
       {"b.pcapng", "a.pcap", "run-000001-0001-20261126T031500Z.pcapng", "run-000001-0001-20261126T031500Z.pcapng.zst",
        "run-000001-0002-20261126T031600Z.pcapng.zst", "run-000001-0002-20261126T031600Z.pcapng.zst.index",
        "run-000001-0001-20261126T031500Z.pcapng.keep", "c.pcapng.part", ".hidden.pcapng", "report.json", "pcapng", "lock"})
    touch(name);
  std::filesystem::create_directory(folder.path() + "/inner.pcapng");
  const auto found = captures_in_folder(folder.path());
  REQUIRE(found.ok());
  std::vector<std::string> names;
  for (const std::string& path : found.value()) names.push_back(std::filesystem::path(path).filename());
  CHECK(names == std::vector<std::string>{"a.pcap", "b.pcapng", "run-000001-0001-20261126T031500Z.pcapng",
                                          "run-000001-0002-20261126T031600Z.pcapng.zst"});
  CHECK(is_folder(folder.path()));
  CHECK_FALSE(is_folder(folder.path() + "/a.pcap"));
  CHECK_FALSE(captures_in_folder(folder.path() + "/a.pcap").ok());
  CHECK_FALSE(captures_in_folder(folder.path() + "/inner.pcapng").ok());  // nothing in it
  CHECK_FALSE(captures_in_folder(folder.path() + "/nowhere").ok());
}
