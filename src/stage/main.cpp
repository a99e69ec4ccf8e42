// tramlog-stage: plays a scenario into a capture, with the truth beside it.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>

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

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{
      "Plays a scenario file into a capture, always the same for the same seed, with the truth beside it."};
  app.footer(
      "Example: tramlog-stage captures/healthy/scenario.toml -o healthy.pcapng.zst\n"
      "         tramlog-stage --all captures/");
  std::string scenario, capture, truth, all;
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
  duration_option->excludes(frames_option);
  all_option->excludes(scenario_option)
      ->excludes(capture_option)
      ->excludes(frames_option)
      ->excludes(duration_option);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) return app.exit(error);
    return tell({ErrorKind::usage, error.what(), "command line", "see tramlog-stage --help"});
  }
  if (!all.empty()) return play_all(all);
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
