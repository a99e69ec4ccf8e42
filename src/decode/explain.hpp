// One message taken apart bit by bit, for the engineer who does not believe the value.
#pragma once

#include <string>
#include <string_view>

#include "can/event.hpp"
#include "decode/interpreter.hpp"
#include "isobus/message.hpp"
#include "schema/schema.hpp"
#include "schema/units.hpp"

namespace tramlog {

struct ExplainInput {
  const Event* frame = nullptr;  // the frame asked for; never null
  /// The whole message that the frame is a part of; null if the capture does not hold it (a transfer that
  /// broke off). Not needed for a single frame.
  const Message* message = nullptr;
  std::string_view bus;           // name; empty: not told
  const Speaker* from = nullptr;  // who holds the source address; null: not known
  const Speaker* to = nullptr;    // who holds the destination address; null: not known
};

struct ExplainOptions {
  UnitChoice units;      // values are also given in these, where they differ from the schema's
  bool unicode = false;  // false: pure ASCII
};

inline constexpr std::size_t kExplainWidth = 100;  // columns of the text at most

/// Identifier, why this schema message, byte map, every signal with its arithmetic, what is not there and
/// what no signal uses. Ends with a line end. Error frames and other packets are told in words.
std::string explain_frame(const Schema& schema, const ExplainInput& input,
                          const ExplainOptions& options = {});

}  // namespace tramlog
