#include "stage/play.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <memory>

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

// Each run of a recorder is a file of its own; put together one after the other they are one capture.
class LaterRuns {
 public:
  explicit LaterRuns(std::string capture) : capture_(std::move(capture)) {}
  LaterRuns(const LaterRuns&) = delete;
  LaterRuns& operator=(const LaterRuns&) = delete;
  ~LaterRuns() {
    std::error_code ignored;
    for (const std::string& path : paths_) fs::remove(path, ignored);
  }

  CaptureWriter* begin() {
    const bool packed = capture_.ends_with(".zst");
    const std::string path = capture_ + ".run" + std::to_string(writers_.size() + 2) + (packed ? ".zst" : "");
    Result<CaptureWriter> writer = CaptureWriter::create(path);
    if (!writer) {
      problem_ = writer.error();
      return nullptr;
    }
    paths_.push_back(path);
    writers_.push_back(std::make_unique<CaptureWriter>(std::move(*writer)));
    return writers_.back().get();
  }

  /// Appends them to the capture; all their bytes and those before.
  Result<std::uint64_t> join(std::uint64_t bytes) {
    if (problem_) return *problem_;
    for (std::size_t i = 0; i < writers_.size(); ++i) {
      const Result<std::uint64_t> more = writers_[i]->finish();
      if (!more) return more.error();
      bytes += more.value();
      std::ifstream from(paths_[i], std::ios::binary);
      std::ofstream to(capture_, std::ios::binary | std::ios::app);
      to << from.rdbuf();
      to.close();
      if (!from || !to)
        return Error{ErrorKind::environment, "cannot put the recorder's runs together", capture_,
                     "check the folder and the disk"};
    }
    return bytes;
  }

 private:
  std::string capture_;
  std::vector<std::string> paths_;
  std::vector<std::unique_ptr<CaptureWriter>> writers_;
  std::optional<Error> problem_;
};

}  // namespace

Result<Played> play_file(const std::string& scenario_path, const std::string& capture,
                         const std::string& truth, const PlayOptions& options) {
  return play(read_scenario(scenario_path), capture, truth, options);
}

Result<Played> play(Result<Scenario> scenario, const std::string& capture, const std::string& truth,
                    const PlayOptions& options) {
  if (!scenario) return scenario.error();
  if (options.seed) scenario->seed = *options.seed;
  prepare_implements(*scenario);
  if (options.duration) scenario->duration = *options.duration;
  Result<CaptureWriter> writer = CaptureWriter::create(capture);
  if (!writer) return writer.error();
  LaterRuns later(capture);
  World world(*scenario, *writer, [&later] { return later.begin(); });
  world.play(options.frames);
  Result<std::uint64_t> bytes = writer->finish();
  if (bytes) bytes = later.join(bytes.value());
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
