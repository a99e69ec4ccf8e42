// The decoded capture as a story to read: who said what to whom, in lines of plain language.
#pragma once

#include <memory>
#include <optional>

#include "base/output_buffer.hpp"
#include "decode/interpreter.hpp"
#include "schema/units.hpp"

namespace tramlog {

struct TextOptions {
  std::optional<UnitSystem> units;  // none: as the bus's latest language command asks, else metric
  bool unicode = false;             // false: pure ASCII
  bool data = false;                // the payload bytes of every message, not only of unknown ones
  unsigned width = 100;             // columns; at least 40
};

/// `out` must outlive the sink. Nothing is printed for DecodeSink::on_bus.
std::unique_ptr<DecodeSink> make_text_story(OutputBuffer& out, TextOptions options);

}  // namespace tramlog
