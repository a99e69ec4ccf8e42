#include <fmt/format.h>

#include <filesystem>

#include "exam/examiner.hpp"
#include "io/capture_reader.hpp"
#include "io/pool_folder.hpp"
#include "io/text_file.hpp"
#include "outfit/user_files.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxLimitsBytes = 256 * 1024;

/// A pool begins with the three letters of one of its objects; anything else is taken for a capture.
bool begins_like_a_pool(const std::vector<std::uint8_t>& bytes) {
  if (bytes.size() < 3 || bytes[0] != 'D') return false;
  const std::string letters(bytes.begin(), bytes.begin() + 3);
  return letters == "DVC" || letters == "DET" || letters == "DPD" || letters == "DPT" || letters == "DVP";
}

std::string file_name(const std::string& path) {
  return std::filesystem::path(path).filename().string();
}

Result<KnownPools> pools_of_capture(const std::string& path, const Schema& schema) {
  auto source = CaptureSource::open({path});
  if (!source) {
    Error error = source.error();
    if (error.kind == ErrorKind::input)
      error.remedy = "name a file written by tramlog devices --save, or a capture with the upload";
    return error;
  }
  Examiner examiner(schema);
  for (;;) {
    const std::span<const Event> events = source->read();
    if (events.empty()) break;
    examiner.take(events);
  }
  KnownPools pools;
  const Conclusions found = examiner.conclude();
  for (const ImplementRecord& implement : found.seeding.implements) {
    if (implement.source != PoolSource::uploaded || implement.pool_bytes.empty()) continue;
    KnownPool pool;
    if (implement.client != kNobody)
      pool.name = found.controllers[static_cast<std::size_t>(implement.client)].name;
    pool.bytes = implement.pool_bytes;
    pool.words = fmt::format("--device-description {}", file_name(path));
    pool.source = PoolSource::given;
    pools.push_back(std::move(pool));
  }
  if (pools.empty())
    return Error{ErrorKind::usage, "no device description was uploaded in this capture", path,
                 "name a capture of a start-up with an upload, or a file written by tramlog devices --save"};
  return pools;
}

Result<KnownPools> described(const std::string& path, const Schema& schema) {
  std::error_code ignored;
  const auto size = std::filesystem::file_size(path, ignored);
  if (!ignored && size <= kMaxPoolFileBytes) {
    auto file = read_pool_file(path);
    if (!file) return file.error();
    if (begins_like_a_pool(file->bytes)) {
      const DevicePool pool = parse_device_pool(file->bytes);
      if (!pool.device)
        return Error{ErrorKind::input, "the device description has no device object (DVC)", path,
                     "name a file written by tramlog devices --save"};
      for (const PoolProblem& problem : pool.problems)
        if (problem.broken)
          return Error{
              ErrorKind::input,
              fmt::format("the device description is damaged: byte {}: {}", problem.offset, problem.what),
              path, "name the whole file as tramlog devices --save wrote it"};
      return KnownPools{{std::nullopt, std::move(file->bytes),
                         fmt::format("--device-description {}", file_name(path)), PoolSource::given}};
    }
  }
  return pools_of_capture(path, schema);
}

}  // namespace

std::string library_folder(const UserFiles& files) {
  if (!files.library.empty()) return files.library;
  // Never a folder of the machine or the user: the same capture and roster must give the same report
  // everywhere.
  if (files.roster.empty()) return {};
  return (std::filesystem::path(files.roster).parent_path() / "tramlog-pools").string();
}

Result<CauseWeights> load_cause_weights(const std::string& path) {
  if (path.empty()) return CauseWeights::built_in();
  auto text = read_text_file(path, kMaxLimitsBytes);
  if (!text) return text.error();
  return CauseWeights::parse(*text, path);
}

Result<ImplementOptions> load_implement_options(const UserFiles& files, const Schema& schema,
                                                const TellProblem& tell) {
  ImplementOptions loaded;
  if (!files.limits.empty()) {
    auto text = read_text_file(files.limits, kMaxLimitsBytes);
    if (!text) return text.error();
    auto limits = SeedingLimits::parse(*text, files.limits);
    if (!limits) return limits.error();
    loaded.limits = std::move(*limits);
  }
  if (const std::string folder = library_folder(files); !folder.empty()) {
    std::vector<Error> problems;
    auto pool_files = read_pool_folder(folder, problems);
    if (!pool_files) return pool_files.error();
    if (tell)
      for (const Error& problem : problems) tell(problem);
    for (PoolFile& file : *pool_files)
      loaded.pools.push_back({std::nullopt, std::move(file.bytes),
                              fmt::format("library, {}", file_name(file.path)), PoolSource::library});
  }
  for (const std::string& path : files.descriptions) {
    auto pools = described(path, schema);
    if (!pools) return pools.error();
    for (KnownPool& pool : *pools) loaded.pools.push_back(std::move(pool));
  }
  return loaded;
}

}  // namespace tramlog
