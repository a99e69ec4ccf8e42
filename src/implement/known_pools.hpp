// Device descriptor object pools that were seen before: often a bus shows no upload, because the task controller has the pool
// stored (fact sheet, process data, 3.3, 4.8). Where they come from is io/'s business.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "implement/records.hpp"
#include "isobus/name.hpp"

namespace tramlog {

struct KnownPool {
  std::optional<Name> name;          // of the client it belongs to; none: as its DVC says
  std::vector<std::uint8_t> bytes;   // the pool's objects back to back
  std::string words;                 // where it comes from: "pool library", "--device-description drill.pool"
  PoolSource source = PoolSource::library;
};
using KnownPools = std::vector<KnownPool>;  // newest last

}  // namespace tramlog
