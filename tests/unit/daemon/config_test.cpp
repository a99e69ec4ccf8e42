// tramlogd.toml: defaults, every key, every error at its place, and files of nonsense.
#include "daemon/config.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <random>

#include "unit/daemon/scribe_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

Config good(const std::string& text) {
  auto config = parse_config(text, "test.toml");
  INFO(text);
  if (!config) INFO(config.error().what << " : " << config.error().where);
  REQUIRE(config.ok());
  return *config;
}

Error bad(const std::string& text) {
  auto config = parse_config(text, "test.toml");
  INFO(text);
  REQUIRE_FALSE(config.ok());
  CHECK(config.error().kind == ErrorKind::usage);
  CHECK_FALSE(config.error().what.empty());
  CHECK_FALSE(config.error().remedy.empty());
  return config.error();
}

constexpr std::uint64_t kMiB = 1'048'576;

}  // namespace

TEST_CASE("The defaults are those that the file names") {
  const Config config = built_in_config();
  CHECK(config.interfaces.listen == std::vector<std::string>{"can*"});
  CHECK(config.interfaces.settings.empty());
  CHECK(config.folder == "/var/lib/tramlog");
  CHECK(config.segment_bytes == 64 * kMiB);
  CHECK(config.segment_span == 15 * kMinute);
  CHECK(config.sync_every == 700 * kMillisecond);
  CHECK(config.buffer_bytes == 64 * kMiB);
  CHECK(config.compress);
  CHECK(config.keep_bytes == 8 * 1024 * kMiB);
  CHECK(config.keep_free_bytes == 512 * kMiB);
  CHECK(config.keep_span == 90 * 24 * kHour);
  CHECK(config.protect_span == 5 * kMinute);
  CHECK(config.protect_each == 20);
  CHECK(config.machine.roster.empty());
  CHECK(config.machine.schema.empty());
  CHECK(config.machine.limits.empty());
  CHECK(config.machine.descriptions.empty());
  CHECK(config.machine.library.empty());
  CHECK(config.summary_every == 10 * kSecond);
  CHECK(config.summary_at_least_every == 60 * kSecond);
  CHECK(config.summaries_earlier == 20);
  CHECK(config.events_bytes == 8 * kMiB);
  CHECK(config.events_files == 5);
  CHECK(config.socket == "/run/tramlog/control");
  CHECK(config.socket_group.empty());
  CHECK(config.journal_level == "info");
  // An empty file changes nothing, nor does the built-in text over itself.
  for (const std::string& text : {std::string(), std::string(built_in_config_text())}) {
    const Config same = good(text);
    CHECK(same.folder == config.folder);
    CHECK(same.keep_bytes == config.keep_bytes);
    CHECK(same.interfaces.listen == config.interfaces.listen);
    CHECK(same.events_files == config.events_files);
  }
}

TEST_CASE("Every key has its effect") {
  const Config config = good(R"(
[interfaces]
listen = ["can0", "slcan?"]
[[interfaces.settings]]
name = "can0"
bitrate = 250000
listen_only = true
restart_ms = 0
error_reporting = false
[[interfaces.settings]]
name = "can1"
[recording]
folder = "/data"
segment_mib = 1.5
segment_minutes = 0.5
sync_ms = 50
buffer_mib = 2
compress = false
keep_gib = 0.5
keep_free_mib = 0
keep_days = 1
protect_minutes = 0
protect_each = 3
[machine]
roster = "r.toml"
schema = ["a.dbc", "b.dbc"]
limits = "l.toml"
cause_weights = "w.toml"
descriptions = ["d.bin"]
library = "lib"
[summary]
every_s = 1
at_least_every_s = 86400
earlier = 0
[events]
file_mib = 0.5
files = 0
[control]
socket = "/tmp/s"
group = "adm"
[journal]
level = "debug"
)");
  CHECK(config.interfaces.listen == std::vector<std::string>{"can0", "slcan?"});
  REQUIRE(config.interfaces.settings.size() == 2);
  const InterfaceSettings& first = config.interfaces.settings[0];
  CHECK(first.name == "can0");
  CHECK(first.wish.bitrate == 250'000u);
  CHECK(first.wish.listen_only == true);
  CHECK(first.wish.restart_ms == 0u);
  CHECK(first.wish.berr_reporting == false);
  CHECK_FALSE(first.wish.empty());
  CHECK(config.interfaces.settings[1].name == "can1");
  CHECK(config.interfaces.settings[1].wish.empty());
  CHECK(config.folder == "/data");
  CHECK(config.segment_bytes == 1'572'864);
  CHECK(config.segment_span == 30 * kSecond);
  CHECK(config.sync_every == 50 * kMillisecond);
  CHECK(config.buffer_bytes == 2 * kMiB);
  CHECK_FALSE(config.compress);
  CHECK(config.keep_bytes == 512 * kMiB);
  CHECK(config.keep_free_bytes == 0);
  CHECK(config.keep_span == 24 * kHour);
  CHECK(config.protect_span == 0);
  CHECK(config.protect_each == 3);
  CHECK(config.machine.roster == "r.toml");
  CHECK(config.machine.schema == std::vector<std::string>{"a.dbc", "b.dbc"});
  CHECK(config.machine.limits == "l.toml");
  CHECK(config.machine.causes == "w.toml");
  CHECK(config.machine.descriptions == std::vector<std::string>{"d.bin"});
  CHECK(config.machine.library == "lib");
  CHECK(config.summary_every == kSecond);
  CHECK(config.summary_at_least_every == 24 * kHour);
  CHECK(config.summaries_earlier == 0);
  CHECK(config.events_bytes == kMiB / 2);
  CHECK(config.events_files == 0);
  CHECK(config.socket == "/tmp/s");
  CHECK(config.socket_group == "adm");
  CHECK(config.journal_level == "debug");
}

TEST_CASE("Numbers out of range, of the wrong kind, or none, are errors at their place; the limits themselves are not") {
  struct Key {
    const char *table, *key, *least, *most, *below, *above;
  };
  const Key keys[] = {{"recording", "segment_mib", "1", "4096", "0.99", "4097"},
                      {"recording", "segment_minutes", "0.02", "1440", "0.016", "1441"},
                      {"recording", "sync_ms", "50", "10000", "49", "10001"},
                      {"recording", "buffer_mib", "1", "4096", "0.5", "4096.5"},
                      {"recording", "keep_gib", "0.001", "1e6", "0.0009", "1000001"},
                      {"recording", "keep_free_mib", "0", "1e9", "-1", "1.1e9"},
                      {"recording", "keep_days", "0.05", "36500", "0.04", "36501"},
                      {"recording", "protect_minutes", "0", "1440", "-0.1", "1441"},
                      {"recording", "protect_each", "0", "100000", "-1", "100001"},
                      {"summary", "every_s", "1", "86400", "0.9", "86401"},
                      {"summary", "at_least_every_s", "1", "86400", "0", "86401"},
                      {"summary", "earlier", "0", "10000", "-1", "10001"},
                      {"events", "file_mib", "0.01", "4096", "0.009", "4097"},
                      {"events", "files", "0", "1000", "-1", "1001"}};
  for (const Key& key : keys) {
    for (const char* value : {key.least, key.most}) (void)good(fmt::format("[{}]\n{} = {}\n", key.table, key.key, value));
    for (const char* value : {key.below, key.above, "nan", "inf", "-inf", "\"1\"", "true", "[1]", "{}", "1979-05-27", "9223372036854775807"}) {
      const Error error = bad(fmt::format("\n[{}]\n  {} = {}\n", key.table, key.key, value));
      INFO(key.key << " = " << value);
      CHECK(error.what.find(key.key) != std::string::npos);
      CHECK(error.where == fmt::format("test.toml:3:{}", 6 + std::string(key.key).size()));
    }
  }
}

TEST_CASE("A number of things is whole") {
  for (const char* text : {"[recording]\nprotect_each = 1.5\n", "[summary]\nearlier = 0.5\n", "[events]\nfiles = 2.25\n"}) (void)bad(text);
}

TEST_CASE("Texts, lists and flags of the wrong kind are errors at their place") {
  struct Case {
    const char *table, *key, *value;
  };
  const Case cases[] = {{"interfaces", "listen", "\"can*\""}, {"interfaces", "listen", "[1]"}, {"interfaces", "listen", "[[\"can0\"]]"},
                        {"interfaces", "settings", "1"}, {"interfaces", "settings", "[1]"}, {"recording", "folder", "1"},
                        {"recording", "folder", "\"\""}, {"recording", "folder", "\"a\\u0000b\""}, {"recording", "compress", "1"},
                        {"recording", "compress", "\"true\""}, {"machine", "roster", "[]"}, {"machine", "schema", "\"a\""},
                        {"machine", "schema", "[1]"}, {"machine", "limits", "0"}, {"machine", "descriptions", "{}"}, {"machine", "library", "1.0"},
                        {"control", "socket", "\"\""}, {"control", "socket", "9"}, {"control", "group", "0"}, {"journal", "level", "3"}};
  for (const Case& one : cases) {
    const Error error = bad(fmt::format("# first\n[{}]\n{} = {}\n", one.table, one.key, one.value));
    INFO(one.key << " = " << one.value << " -> " << error.where);
    CHECK(error.what.find(one.key) != std::string::npos);
    CHECK(error.where.starts_with("test.toml:3:"));
  }
}

TEST_CASE("An unknown level and an interface without a name are told at the key itself") {
  CHECK(bad("# first\n[journal]\n# third\nlevel = \"loud\"\n").where.starts_with("test.toml:4:"));
  CHECK(bad("# first\n[interfaces]\n# third\nlisten = [\"can0\", \"\"]\n").where.starts_with("test.toml:4:"));
}

TEST_CASE("Unknown keys and tables are told with their place and what there is") {
  Error error = bad("[recording]\nfolder = \"/a\"\n   foldr = 1\n");
  CHECK(error.where.starts_with("test.toml:3:"));
  CHECK(error.what.find("foldr") != std::string::npos);
  CHECK(error.remedy.find("segment_mib") != std::string::npos);
  error = bad("\n[recordings]\nfolder = \"/a\"\n");
  CHECK(error.where.starts_with("test.toml:2:"));
  CHECK(error.remedy.find("recording") != std::string::npos);
  error = bad("folder = \"/a\"\n");
  CHECK(error.where.starts_with("test.toml:1:"));
  CHECK(bad("[recording.deep]\nx = 1\n").what.find("deep") != std::string::npos);
  (void)bad("[[recording]]\nfolder = \"/a\"\n");
}

TEST_CASE("An unknown table without a key is unknown all the same") {
  (void)bad("[recordings]\n");
  (void)bad("[recordings]\n# folder = \"/a\"\n[recording]\n");
}

TEST_CASE("Settings of interfaces: range, kind, name") {
  const std::string head = "[[interfaces.settings]]\nname = \"can0\"\n";
  for (const char* line : {"bitrate = 9999", "bitrate = 1000001", "bitrate = 250000.0", "bitrate = \"250000\"", "bitrate = -1", "listen_only = 1",
                           "restart_ms = 60001", "restart_ms = -1", "restart_ms = true", "error_reporting = \"yes\"", "speed = 1", "sample_point = 0.8"}) {
    const Error error = bad(head + line + "\n");
    CHECK(error.where.starts_with("test.toml:3:"));
  }
  for (const char* line : {"bitrate = 10000", "bitrate = 1000000", "restart_ms = 60000"}) (void)good(head + line + "\n");
  (void)bad("[[interfaces.settings]]\nbitrate = 250000\n");
  (void)bad("[[interfaces.settings]]\nname = \"\"\n");
  (void)bad("[[interfaces.settings]]\nname = 5\n");
  (void)bad("[interfaces.settings]\nname = \"can0\"\n");
}

TEST_CASE("What is no TOML is told with its line") {
  CHECK(bad("[recording]\nfolder = /a\n").where.starts_with("test.toml:2:"));
  CHECK(bad("[recording]\n[recording]\n").where.starts_with("test.toml:2:"));
  CHECK(bad("[recording\n").where.starts_with("test.toml:"));
  CHECK(bad("\xff\xfe").where.starts_with("test.toml:1"));
  CHECK(bad("x = \"\xc3\x28\"\n").where.starts_with("test.toml:1"));
  (void)bad(std::string(100'000, '['));
  (void)bad("a = " + std::string(100'000, '['));
  (void)bad(std::string("a\0b", 3));
}

TEST_CASE("A missing file is the built-in one only where that is allowed") {
  Folder folder;
  CHECK(load_config(folder.path("none"), true).ok());
  CHECK_FALSE(load_config(folder.path("none"), false).ok());
  folder.write("some", "[recording]\nfolder = \"/x\"\n");
  auto some = load_config(folder.path("some"), true);
  REQUIRE(some.ok());
  CHECK(some->folder == "/x");
  CHECK_FALSE(load_config(folder.path(), true).ok());  // a folder
  folder.write("huge", std::string(300'000, '#'));
  CHECK_FALSE(load_config(folder.path("huge"), true).ok());
}

TEST_CASE("Mutated text is accepted or refused, never more than that") {
  const std::string text(built_in_config_text());
  const std::string settings = "\n[[interfaces.settings]]\nname = \"can0\"\nbitrate = 250000\nlisten_only = true\nrestart_ms = 100\n";
  std::mt19937 random(17);
  unsigned accepted = 0;
  for (int round = 0; round < 3'000; ++round) {
    std::string mutant = random() % 2 ? text : text + settings;
    for (auto n = 1 + random() % 6; n > 0 && !mutant.empty(); --n) {
      const std::size_t at = random() % mutant.size();
      switch (random() % 5) {
        case 0:
          mutant[at] = static_cast<char>(random());
          break;
        case 1:
          mutant.erase(at, random() % 20);
          break;
        case 2:
          mutant.insert(at, 1, "[]{}=\"'\\\n#.-e9"[random() % 15]);
          break;
        case 3:
          mutant.insert(at, mutant.substr(random() % mutant.size(), random() % 60));
          break;
        default:
          mutant.resize(at + 1);
      }
    }
    auto config = parse_config(mutant, "test.toml");
    if (config) {
      ++accepted;
      REQUIRE_FALSE(config->folder.empty());
      REQUIRE_FALSE(config->socket.empty());
      REQUIRE(config->segment_bytes >= kMiB);
      REQUIRE(config->buffer_bytes >= kMiB);
      REQUIRE(config->sync_every >= 50 * kMillisecond);
    } else {
      REQUIRE(config.error().where.starts_with("test.toml:"));
    }
  }
  CHECK(accepted > 100);
}
