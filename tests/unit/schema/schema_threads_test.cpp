// A Schema that does not change is shared: the first who asks for a message makes it, the others get the
// same.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <string>
#include <thread>
#include <vector>

#include "schema/schema.hpp"

using namespace tramlog;

TEST_CASE("threads that ask a schema at the same time get the same messages") {
  constexpr std::uint32_t kMessages = 400;
  constexpr std::size_t kThreads = 4;
  std::string text = "BA_DEF_ SG_ \"SPN\" INT 0 524287;\n";
  for (std::uint32_t m = 0; m < kMessages; ++m)
    text += fmt::format("BO_ {} M{}: 8 X\n SG_ S{} : 0|8@1+ (0.4,0) [0|100] \"%\" X\n",
                        0x98F000FEu + m * 0x100, m, m);
  for (std::uint32_t m = 0; m < kMessages; ++m)
    text += fmt::format("BA_ \"SPN\" SG_ {} S{} {};\n", 0x98F000FEu + m * 0x100, m, 3000 + m);
  DbcFile file = parse_dbc(text, "t.dbc");
  check_dbc(file);
  REQUIRE(file.problems.empty());
  Schema made;
  made.add(std::move(file));
  const Schema& schema = made;

  std::vector<std::vector<const MessageSpec*>> found(kThreads);
  std::vector<std::string> words(kThreads);
  std::vector<std::thread> threads;
  for (std::size_t t = 0; t < kThreads; ++t)
    threads.emplace_back([&, t] {
      if (t == 0) words[t] = schema.spn_text(3000 + kMessages - 1).value_or("");
      for (std::uint32_t m = 0; m < kMessages; ++m)
        found[t].push_back(schema.find(0x18F000FEu + m * 0x100, true));
      if (t != 0) words[t] = schema.spn_text(3000 + kMessages - 1).value_or("");
    });
  for (std::thread& thread : threads) thread.join();

  for (std::size_t t = 0; t < kThreads; ++t) {
    CHECK(found[t] == found[0]);
    CHECK(words[t] == words[0]);
  }
  for (std::uint32_t m = 0; m < kMessages; ++m) {
    REQUIRE(found[0][m] != nullptr);
    CHECK(found[0][m]->name == fmt::format("M{}", m));
    REQUIRE(found[0][m]->signals.size() == 1);
    CHECK(found[0][m]->signals[0].message == found[0][m]);
  }
  CHECK(words[0] == fmt::format("s{}", kMessages - 1));
  CHECK(schema.messages() == found[0]);
}
