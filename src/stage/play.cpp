#include "stage/play.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "stage/damage.hpp"
#include "stage/document.hpp"
#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

namespace fs = std::filesystem;

std::string capture_of(const fs::path& folder) {
  const fs::path description = folder / "case.toml";
  if (fs::exists(description)) {
    if (Result<Node> root = read_toml(description.string())) {
      const Node* name = root->find("capture");
      if (name != nullptr && name->kind == Node::Kind::text) return (folder / name->text).string();
    }
  }
  for (const char* name : {"capture.pcapng", "capture.pcapng.zst"}) {
    if (fs::exists(folder / name)) return (folder / name).string();
  }
  return (folder / "capture.pcapng.zst").string();
}

}  // namespace

Result<Played> play_file(const std::string& scenario_path, const std::string& capture,
                         const std::string& truth, const PlayOptions& options) {
  Result<Scenario> scenario = read_scenario(scenario_path);
  if (!scenario) return scenario.error();
  if (options.seed) scenario->seed = *options.seed;
  prepare_implements(*scenario);
  if (options.duration) scenario->duration = *options.duration;
  Result<CaptureWriter> writer = CaptureWriter::create(capture);
  if (!writer) return writer.error();
  World world(*scenario, *writer);
  world.play(options.frames);
  const Result<std::uint64_t> bytes = writer->finish();
  if (!bytes) return bytes.error();
  if (!scenario->damage.empty()) {
    const Result<std::uint64_t> damaged = damage_file(capture, scenario->damage);
    if (!damaged) return damaged.error();
  }
  std::ofstream out(truth, std::ios::binary | std::ios::trunc);
  out << world.truth.to_json(world.recorder);
  out.close();
  if (!out)
    return Error{ErrorKind::environment, "cannot write the truth file", truth,
                 "check the folder and the disk"};
  return Played{world.recorder.frames(), bytes.value()};
}

Result<std::vector<CaseFolder>> find_cases(const std::string& root) {
  std::vector<CaseFolder> cases;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(root, error)) {
    const fs::path scenario = entry.path() / "scenario.toml";
    std::error_code ignored;
    if (!fs::exists(scenario, ignored) || fs::exists(entry.path() / "not-stored", ignored)) continue;
    cases.push_back({entry.path().string(), scenario.string(), capture_of(entry.path()),
                     (entry.path() / "truth.json").string()});
  }
  if (error)
    return Error{ErrorKind::usage, "cannot list the cases: " + error.message(), root,
                 "name a folder of cases"};
  std::sort(cases.begin(), cases.end(), [](const auto& a, const auto& b) { return a.folder < b.folder; });
  return cases;
}

}  // namespace tramlog::stage
