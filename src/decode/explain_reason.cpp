#include <fmt/format.h>

#include "base/text.hpp"
#include "decode/explain_parts.hpp"
#include "exam/words.hpp"
#include "schema/code_rules.hpp"

namespace tramlog {
namespace {

bool is_fraction(const SignalSpec& signal) {
  return signal.encoding == Encoding::float32 || signal.encoding == Encoding::float64;
}

const char* rule_name(CodeRule rule) {
  return rule == CodeRule::nmea2000 ? "NMEA 2000" : "ISO 11783-7";
}

bool judged_by_top_byte(const SignalSpec& signal) {
  const unsigned bits = signal.bit_length;
  return signal.rule == CodeRule::iso11783 && !signal.characters &&
         signal.encoding == Encoding::unsigned_integer && (bits == 8 || bits == 16 || bits == 32);
}

std::string range_words(const SignalSpec& signal) {
  const std::string low = signal.minimum ? signal.minimum->to_string() : "-";
  const std::string high = signal.maximum ? signal.maximum->to_string() : "-";
  return fmt::format("[{}|{}]", low, high);
}

/// Why there is no number, although the bits are there.
std::string code_reason(const Reading& reading) {
  const SignalSpec& signal = *reading.signal;
  if (is_fraction(signal)) return "the binary fraction is not a finite number";
  if (class_of_code(signal, reading.raw) != reading.validity) return "by the schema";
  if (judged_by_top_byte(signal))
    return fmt::format("{:02X} in the top byte, {}", reading.raw >> (signal.bit_length - 8),
                       rule_name(signal.rule));
  return fmt::format("code {} of {} bits, {}", reading.raw, signal.bit_length, rule_name(signal.rule));
}

std::string valid_reason(const Reading& reading) {
  const SignalSpec& signal = *reading.signal;
  if (reading.text) return "the code has a name";
  if (signal.all_valid) return "every code of this signal is a value (attribute Codes)";
  if (signal.rule == CodeRule::none) return "this message has no reserved codes";
  if (is_fraction(signal)) return "a finite number";
  if (judged_by_top_byte(signal))
    return fmt::format("{:02X} in the top byte is a number (00 to FA), {}",
                       reading.raw >> (signal.bit_length - 8), rule_name(signal.rule));
  return fmt::format("no reserved code of {}", rule_name(signal.rule));
}

}  // namespace

std::string validity_reason(const Reading& reading, std::size_t data_bytes) {
  const SignalSpec& signal = *reading.signal;
  const std::string_view words = validity_words(reading.validity, signal.command);
  switch (reading.validity) {
    case Validity::valid:
      return fmt::format("{}: {}", words, valid_reason(reading));
    case Validity::out_of_range:
      return fmt::format("{}: the schema gives {}", words, range_words(signal));
    case Validity::cut_off:
      return fmt::format("{}: it ends in byte {}, the message has {}", words, signal.plan.last_byte + 1,
                         counted(data_bytes, "byte", "bytes"));
    default:
      break;
  }
  if (reading.text) return fmt::format("{}: the code's name says so", words);
  return fmt::format("{}: {}", words, code_reason(reading));
}

}  // namespace tramlog
