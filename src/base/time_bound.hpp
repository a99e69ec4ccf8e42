// A moment as people give it on the command line (contract: --from, --to).
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "base/result.hpp"
#include "base/time.hpp"

namespace tramlog {

/// "06:12:41.3" (time of day, UTC), "2026-04-07 06:12:41.3" or with T and an optional Z, or "12.5" / "12.5s"
/// (seconds from the start of the capture; also "3m", "1h").
struct TimeBound {
  enum class Kind { time_of_day, moment, from_start } kind = Kind::from_start;
  std::int64_t ns = 0;  // since midnight, since 1970, since the capture's start

  /// The moment meant, for a capture that starts at `start`. A time of day more than 6 h before the start is that of the
  /// next day (00:10 in a capture from 23:50 is after midnight; 09:00 in one from 09:12 lies before it).
  TimeNs resolve(TimeNs start) const;
};

/// `option` is named in the error.
Result<TimeBound> parse_time_bound(std::string_view text, std::string_view option);

}  // namespace tramlog
