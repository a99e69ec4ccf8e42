// A day with thousands of faults: the main findings on the first screen, the rest counted.
#include <sstream>

#include "exam/story.hpp"
#include "report/format.hpp"
#include "unit/exam/scenes.hpp"

using namespace tramlog;

namespace {

// Ten hours, 3,000 faults: a cut connector every now and then with all that follows, loose plugs, and much
// that is only told.
HandMade long_day() {
  HandMade b;
  b.all.end = HandMade::at(36'000);
  for (ControllerRecord& c : b.all.controllers) c.last_seen = HandMade::mark(35'999);
  for (int i = 0; i < 60; ++i) {
    const double t = 100 + 500.0 * i + i % 7;
    for (std::size_t c = 2; c < 6; ++c) b.drop(c, t, t + 4, true, static_cast<unsigned>(i + 1));
    b.errors(t, t + 0.3);
    for (int k = 0; k < 10; ++k)
      b.fault("controller.message-stopped", t + 0.1 * k, {static_cast<std::size_t>(2 + k % 4)});
  }
  for (int i = 0; i < 40; ++i) b.drop(1, 350 + 500.0 * i, 353 + 500.0 * i + i % 5, false);
  while (b.all.faults.size() < 3'000) {
    const double t = static_cast<double>(b.all.faults.size()) * 11;
    b.fault("diagnostics.trouble-code", t, {b.all.faults.size() % 6});
  }
  std::stable_sort(b.all.faults.begin(), b.all.faults.end(),
                   [](const Fault& a, const Fault& c) { return a.start < c.start; });
  b.all.findings = b.findings();
  b.all.story = tell_story(b.all, b.seen);
  return b;
}

std::vector<std::string> lines_of(const Conclusions& all) {
  Report report;
  report.files = {"0123456789abcdef"};
  report.found = all;
  std::istringstream text(find_format("text")->report(report, {}));
  std::vector<std::string> lines;
  for (std::string line; std::getline(text, line);) lines.push_back(line);
  return lines;
}

std::size_t line_with(const std::vector<std::string>& lines, const std::string& words) {
  std::size_t at = 0;
  while (at < lines.size() && lines[at].find(words) == std::string::npos) ++at;
  return at;
}

}  // namespace

TEST_CASE("Three thousand faults fit on two pages, the findings on the first screen") {
  const HandMade day = long_day();
  REQUIRE(day.all.faults.size() == 3'000);
  REQUIRE(day.all.findings.size() >= 2);
  const auto lines = lines_of(day.all);
  CHECK(lines.size() < 120);
  CHECK(line_with(lines, "MAIN FINDINGS") < 8);
  CHECK(line_with(lines, "breakaway connector") < 24);
  CHECK(line_with(lines, "240 dropouts and") < lines.size());  // 60 times 4 controllers, under the connector
  CHECK(line_with(lines, "counted under their findings") < lines.size());
  for (const std::string& line : lines) CHECK(line.size() <= 78);
}

TEST_CASE("Few faults are listed each") {
  HandMade b;
  b.drop(2, 100, 103, true);
  b.fault("controller.message-stopped", 100, {2});
  b.all.findings = b.findings();
  const auto lines = lines_of(b.all);
  CHECK(line_with(lines, "[controller.message-stopped]") < lines.size());
  CHECK(line_with(lines, "counted under") == lines.size());
}

TEST_CASE("What speaks against a cause, and what decides between two, is told in both formats") {
  HandMade b;
  b.drop(2, 100, 0, false, 1);
  b.drop(3, 100, 0, false, 1);
  b.all.findings = b.findings();
  REQUIRE(b.all.findings.size() == 2);
  const auto lines = lines_of(b.all);
  CHECK(line_with(lines, "decide   ") < lines.size());
  CHECK(line_with(lines, "(or, ") < lines.size());
  Report report;
  report.found = b.all;
  const std::string json = find_format("json")->report(report, {});
  CHECK(json.find("\"against\"") != std::string::npos);
  CHECK(json.find("\"tell_apart\": \"Measure the feed") != std::string::npos);
}
