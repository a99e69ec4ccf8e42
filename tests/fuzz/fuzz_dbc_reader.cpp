// Input: any bytes as a DBC file. Whatever is read must hold what dbc_file.hpp promises, and after the checks
// every signal must lie inside its message and every multiplexor be found.
#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "schema/dbc_file.hpp"

using namespace tramlog;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

void check_problems(const DbcFile& file) {
  require(file.problems.size() <= kMaxSchemaProblems);
  const SchemaProblem* before = nullptr;
  for (const SchemaProblem& problem : file.problems) {
    require(problem.file == file.name && !problem.text.empty() && problem.text.size() < 1000);
    require(before == nullptr || before->line <= problem.line);
    const std::string line = describe(problem);
    require(std::none_of(line.begin(), line.end(), [](char c) { return c == '\n' || c == '\x1b'; }));
    before = &problem;
  }
}

void check_signal(const DbcMessage& message, const DbcSignal& signal) {
  require(!signal.name.empty() && signal.bit_length >= 1 && signal.bit_length <= 64);
  require(signal.factor.digits != 0);
  const std::uint64_t start = signal.order == ByteOrder::little
                                  ? signal.start_bit
                                  : signal.start_bit - signal.start_bit % 8 + (7 - signal.start_bit % 8);
  require(start + signal.bit_length <= std::uint64_t{message.length} * 8);
  // Up the multiplexors: it must end.
  const DbcSignal* at = &signal;
  for (std::size_t steps = 0; at->multiplex_code || !at->multiplex_ranges.empty(); ++steps) {
    require(steps <= message.signals.size());
    const auto up = std::find_if(message.signals.begin(), message.signals.end(), [&](const DbcSignal& other) {
      if (!at->multiplexor.empty()) return other.name == at->multiplexor;
      return other.is_multiplexor && !other.multiplex_code && other.multiplex_ranges.empty();
    });
    require(up != message.signals.end() && up->is_multiplexor);
    at = &*up;
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  require(count_dbc_tokens(text) <= size);
  DbcFile file = parse_dbc(text, "fuzz.dbc");
  check_problems(file);
  check_dbc(file);
  check_problems(file);
  for (const DbcMessage& message : file.messages) {
    require(message.length <= kMaxDbcMessageBytes &&
            message.id <= (message.extended ? 0x1FFF'FFFFu : 0x7FFu));
    for (const DbcSignal& signal : message.signals) check_signal(message, signal);
    file.attribute(message.attributes, AttributeDefinition::Of::message, "GenMsgCycleTime");
  }
  return 0;
}
