// From a scenario file to a capture and its truth.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"
#include "stage/scenario.hpp"

namespace tramlog::stage {

struct PlayOptions {
  std::optional<std::uint64_t> seed;    // instead of the scenario's
  std::optional<SpanNs> duration;       // instead of the scenario's
  std::optional<std::uint64_t> frames;  // play until that many frames are in the capture
};

struct Played {
  std::uint64_t frames = 0;
  std::uint64_t bytes = 0;  // of the capture before compression and damage
};

/// Plays `scenario` into `capture` (compressed if it ends with ".zst") and writes `truth` as JSON. Errors:
/// ErrorKind::usage for a bad scenario, ErrorKind::environment if a file cannot be written.
Result<Played> play_file(const std::string& scenario, const std::string& capture, const std::string& truth,
                         const PlayOptions& options = {});

/// The same of a scenario that was read already.
Result<Played> play(Result<Scenario> scenario, const std::string& capture, const std::string& truth,
                    const PlayOptions& options = {});

/// One case folder of a collection.
struct CaseFolder {
  std::string folder, scenario, capture, truth;
};
/// The folders below `root` that hold a scenario.toml, except those whose scenario is marked as not stored (a
/// file `not-stored` beside it); sorted by name. The capture is the .pcapng or .pcapng.zst that exists there
/// or that case.toml names with key `capture`; else capture.pcapng.zst.
Result<std::vector<CaseFolder>> find_cases(const std::string& root);

}  // namespace tramlog::stage
