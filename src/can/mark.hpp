// A moment of a capture that a reader can look up.
#pragma once

#include <cstdint>

#include "base/time.hpp"

namespace tramlog {

struct Mark {
  TimeNs time = 0;
  std::uint64_t frame = 0;  // 1-based number in the capture; 0: no frame (a statistics block, the capture's end)
};

}  // namespace tramlog
