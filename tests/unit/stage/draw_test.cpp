// Random scenarios: they play, they are the same twice, and every cause comes out as itself.
#include "stage/draw.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <set>

#include "stage/play.hpp"
#include "unit/stage/scratch.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

// Short, so that many can be played: what happens later is read, but not waited for.
constexpr SpanNs kShort = 3 * kSecond;

nlohmann::json truth_of(const Drawn& drawn, std::optional<SpanNs> duration, std::string* bytes = nullptr) {
  Scratch scratch;
  PlayOptions options;
  options.duration = duration;
  const auto played = play(read_scenario_text(drawn.scenario, "drawn"), scratch.path("c.pcapng"),
                           scratch.path("t.json"), options);
  INFO((played.ok() ? std::string() : played.error().what + " " + played.error().where));
  REQUIRE(played.ok());
  if (bytes != nullptr) *bytes = Scratch::read(scratch.path("c.pcapng"));
  return nlohmann::json::parse(Scratch::read(scratch.path("t.json")));
}

}  // namespace

TEST_CASE("two hundred seeds are drawn, play, and are the same twice") {
  unsigned healthy = 0;
  std::set<std::string> causes;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    CAPTURE(seed);
    const auto drawn = draw_scenario(seed), again = draw_scenario(seed);
    REQUIRE(drawn.ok());
    CHECK(drawn.value().scenario == again.value().scenario);
    CHECK(drawn.value().roster == again.value().roster);
    healthy += drawn.value().cause.empty();
    causes.insert(drawn.value().cause);
    std::string bytes, same;
    const auto truth = truth_of(drawn.value(), kShort, &bytes);
    truth_of(again.value(), kShort, &same);
    CHECK(bytes == same);
    const std::size_t controllers = truth["controllers"].size();
    CHECK(controllers >= 5);
    CHECK(controllers <= 17);  // 16 and a twin
    CHECK(truth.count("causes") == 1);
  }
  // A fifth of 200, four standard deviations (5.7) either way.
  CHECK(healthy > 40 - 23);
  CHECK(healthy < 40 + 23);
  CHECK(causes.size() > 20);
}

TEST_CASE("each cause that is drawn is the cause in the truth") {
  for (const std::string& code : drawable_causes()) {
    CAPTURE(code);
    const auto drawn = draw_scenario(11, code);
    REQUIRE(drawn.ok());
    CHECK(drawn.value().cause == code);
    const auto truth = truth_of(drawn.value(), std::nullopt);
    bool found = false;
    for (const auto& cause : truth["causes"]) {
      found |= cause["code"] == code;
      CHECK(cause["code"] == code);
    }
    CHECK(found);
  }
}

TEST_CASE("a machine that is drawn healthy has no cause and no dropout") {
  for (std::uint64_t seed = 300; seed < 310; ++seed) {
    const auto drawn = draw_scenario(seed, "none");
    REQUIRE(drawn.ok());
    const auto truth = truth_of(drawn.value(), std::nullopt);
    CHECK(truth["causes"].empty());
    CHECK(truth["dropouts"].empty());
  }
  const auto unknown = draw_scenario(1, "gremlins");
  REQUIRE_FALSE(unknown.ok());
  CHECK(unknown.error().kind == ErrorKind::usage);
}

TEST_CASE("what is kept as a file plays to the same bytes") {
  const auto drawn = draw_scenario(42, "supply.unit");
  REQUIRE(drawn.ok());
  std::string bytes;
  const auto truth = truth_of(drawn.value(), 20 * kSecond, &bytes);
  Scratch scratch;
  PlayOptions options;
  options.duration = 20 * kSecond;
  REQUIRE(play_file(scratch.write("s.toml", drawn.value().scenario), scratch.path("c.pcapng"),
                    scratch.path("t.json"), options)
              .ok());
  CHECK(Scratch::read(scratch.path("c.pcapng")) == bytes);
  CHECK(nlohmann::json::parse(Scratch::read(scratch.path("t.json"))) == truth);
}
