// tramlog-stage: plays a scenario into a capture, with the truth beside it.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <optional>
#include <string>
#include <utility>

#include "stage/draw.hpp"
#include "stage/play.hpp"

namespace {

using tramlog::Error;
using tramlog::ErrorKind;

constexpr int kExitUsage = 2;
constexpr int kExitEnvironment = 4;

int tell(const Error& error) {
  fmt::print(stderr, "tramlog: {} : {} : {}\n", error.what, error.where, error.remedy);
  return error.kind == ErrorKind::environment ? kExitEnvironment : kExitUsage;
}

std::string default_truth(const std::string& capture) {
  for (const std::string_view tail : {".pcapng.zst", ".pcapng"}) {
    if (capture.size() > tail.size() && capture.ends_with(tail)) {
      return capture.substr(0, capture.size() - tail.size()) + ".truth.json";
    }
  }
  return capture + ".truth.json";
}

int play_all(const std::string& root) {
  const auto cases = tramlog::stage::find_cases(root);
  if (!cases) return tell(cases.error());
  for (const auto& one : cases.value()) {
    const auto played = tramlog::stage::play_file(one.scenario, one.capture, one.truth);
    if (!played) return tell(played.error());
  }
  return 0;
}

struct DrawRequest {
  std::uint64_t seed = 0;
  std::optional<std::string> cause;
  std::string capture, truth, roster, scenario;
};

bool write_text(const std::string& path, const std::string& text) {
  std::ofstream out(path, std::ios::binary | std::ios::trunc);
  out << text;
  out.close();
  return static_cast<bool>(out);
}

int draw(const DrawRequest& request) {
  const auto drawn = tramlog::stage::draw_scenario(request.seed, request.cause);
  if (!drawn) return tell(drawn.error());
  for (const auto& [path, text] : {std::pair{&request.roster, &drawn.value().roster},
                                   std::pair{&request.scenario, &drawn.value().scenario}}) {
    if (path->empty() || write_text(*path, *text)) continue;
    return tell({ErrorKind::environment, "cannot write the file", *path, "check the folder and the disk"});
  }
  if (request.capture.empty()) return 0;
  const auto played = tramlog::stage::play(
      tramlog::stage::read_scenario_text(drawn.value().scenario, "drawn scenario"), request.capture,
      request.truth.empty() ? default_truth(request.capture) : request.truth);
  if (!played) return tell(played.error());
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{
      "Plays a scenario file into a capture, always the same for the same seed, with the truth beside it."};
  app.footer(
      "Example: tramlog-stage captures/healthy/scenario.toml -o healthy.pcapng.zst\n"
      "         tramlog-stage --all captures/\n"
      "         tramlog-stage --draw 7 -o c.pcapng.zst --truth t.json --roster r.toml --scenario s.toml");
  std::string scenario, capture, truth, all, cause;
  DrawRequest drawing;
  std::uint64_t seed = 0, frames = 0;
  double duration_s = 0;
  auto* scenario_option = app.add_option("SCENARIO", scenario, "Scenario file (TOML)");
  auto* capture_option =
      app.add_option("-o,--output", capture, "Capture to write; .zst at the end compresses it");
  app.add_option("--truth", truth, "Truth file to write (default: the capture's name with .truth.json)");
  auto* seed_option = app.add_option("--seed", seed, "Instead of the scenario's seed");
  auto* duration_option =
      app.add_option("--duration", duration_s, "Seconds to play instead of the scenario's");
  auto* frames_option = app.add_option("--frames", frames, "Play on until this many frames are written");
  auto* all_option =
      app.add_option("--all", all, "Play every case folder below this one to its capture and truth");
  auto* draw_option = app.add_option("--draw", drawing.seed, "Draw a scenario from this seed and play it");
  auto* cause_option =
      app.add_option("--cause", cause, "With this main cause (SCENARIO.md), or none")->needs(draw_option);
  app.add_option("--roster", drawing.roster, "Write the roster of the machine that is drawn")
      ->needs(draw_option);
  app.add_option("--scenario", drawing.scenario, "Write the scenario that is drawn")->needs(draw_option);
  draw_option->excludes(scenario_option)
      ->excludes(seed_option)
      ->excludes(duration_option)
      ->excludes(frames_option);
  duration_option->excludes(frames_option);
  all_option->excludes(scenario_option)
      ->excludes(capture_option)
      ->excludes(frames_option)
      ->excludes(duration_option)
      ->excludes(draw_option);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) return app.exit(error);
    return tell({ErrorKind::usage, error.what(), "command line", "see tramlog-stage --help"});
  }
  if (!all.empty()) return play_all(all);
  if (*draw_option) {
    if (*cause_option) drawing.cause = cause;
    if (capture.empty() && drawing.roster.empty() && drawing.scenario.empty()) {
      return tell({ErrorKind::usage, "nothing is to be written", "command line",
                   "give -o CAPTURE, --roster or --scenario"});
    }
    drawing.capture = capture;
    drawing.truth = truth;
    return draw(drawing);
  }
  if (scenario.empty() || capture.empty()) {
    return tell({ErrorKind::usage, "a scenario and -o CAPTURE are needed", "command line",
                 "see tramlog-stage --help"});
  }
  tramlog::stage::PlayOptions options;
  if (*seed_option) options.seed = seed;
  if (*frames_option) options.frames = frames;
  if (*duration_option) {
    if (!(duration_s > 0 && duration_s < 2.6e6)) {
      return tell(
          {ErrorKind::usage, "--duration is out of range", "command line", "give seconds, at most 30 days"});
    }
    options.duration = static_cast<tramlog::SpanNs>(std::llround(duration_s * 1e9));
  }
  const auto played =
      tramlog::stage::play_file(scenario, capture, truth.empty() ? default_truth(capture) : truth, options);
  if (!played) return tell(played.error());
  return 0;
}
