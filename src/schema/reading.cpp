#include "schema/reading.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <charconv>
#include <cmath>

#include "base/text.hpp"
#include "schema/schema.hpp"

namespace tramlog {
namespace {

// What a multiplexor said in the message at hand.
struct Chooser {
  std::uint64_t raw = 0;
  bool known = false;  // it is there, and its bits too
};

// The double that has the same shortest text as the binary fraction of 32 bits, so that 0.1f shows as 0.1.
double widened(float narrow) {
  char text[32];
  char* const end = std::to_chars(text, text + sizeof text, narrow).ptr;
  double wide = narrow;
  std::from_chars(text, end, wide);
  return wide;
}

void read_fraction(const SignalSpec& signal, std::uint64_t raw, Reading& reading) {
  double real = 0;
  if (signal.encoding == Encoding::float32) {
    const auto narrow = std::bit_cast<float>(static_cast<std::uint32_t>(raw));
    real = std::isfinite(narrow) ? widened(narrow) : static_cast<double>(narrow);
  } else {
    real = std::bit_cast<double>(raw);
  }
  if (std::isfinite(real)) real = real * signal.plan.factor + signal.plan.offset;
  if (!std::isfinite(real)) {
    reading.validity = Validity::not_available;
    return;
  }
  reading.value.kind = Number::Kind::real;
  reading.value.real = real;
  const bool below = signal.minimum && real < signal.minimum->to_double();
  const bool above = signal.maximum && real > signal.maximum->to_double();
  reading.validity = below || above ? Validity::out_of_range : Validity::valid;
}

// Everything that is not decided by one comparison or one look into a small table.
void read_closely(const SignalSpec& signal, std::uint64_t raw, Reading& reading) {
  reading.value = {};
  if (signal.encoding == Encoding::float32 || signal.encoding == Encoding::float64)
    return read_fraction(signal, raw, reading);
  const std::uint64_t bits = signal.plan.extend(raw);
  const auto code = std::lower_bound(
      signal.codes.begin(), signal.codes.end(), static_cast<std::int64_t>(bits),
      [](const CodeName& candidate, std::int64_t wanted) { return candidate.code < wanted; });
  if (code != signal.codes.end() && static_cast<std::uint64_t>(code->code) == bits) {
    reading.text = &code->text;
    reading.validity = signal.code_validity[static_cast<std::size_t>(code - signal.codes.begin())];
  } else if (signal.plan.has_run && bits - signal.plan.valid_first <= signal.plan.valid_span) {
    reading.validity = Validity::valid;
  } else {
    reading.validity = validity_by_rule(signal, raw);
  }
  if (reading.has_value()) reading.value = scaled(signal.plan, bits);
}

inline void finish(const SignalSpec& signal, std::uint64_t raw, Reading& reading) {
  const SignalPlan& plan = signal.plan;
  reading.signal = &signal;
  reading.raw = raw;
  reading.text = nullptr;
  if (plan.path == SignalPlan::Path::plain) {
    const std::uint64_t bits = plan.extend(raw);
    if (bits - plan.valid_first <= plan.valid_span) [[likely]] {
      reading.value = scaled(plan, bits);
      reading.validity = Validity::valid;
      return;
    }
  } else if (plan.path == SignalPlan::Path::slots) {
    const CodeSlot slot = signal.slots[raw];
    if (slot.code >= 0) reading.text = &signal.codes[static_cast<std::size_t>(slot.code)].text;
    reading.validity = slot.validity;
    reading.value = reading.has_value() ? scaled(plan, plan.extend(raw)) : Number{};
    return;
  }
  read_closely(signal, raw, reading);
}

void read_beyond(const SignalSpec& signal, Bytes data, Reading& reading) {
  if (const auto raw = take_raw(signal.plan, data)) return finish(signal, *raw, reading);
  reading = {};
  reading.signal = &signal;
}

inline void read_one(const SignalSpec& signal, Bytes data, Reading& reading) {
  const SignalPlan& plan = signal.plan;
  if (plan.fast && plan.byte + std::size_t{8} <= data.size()) [[likely]] {
    std::uint64_t word = load_le64(data.data() + plan.byte);
    if (plan.big) word = swap_bytes(word);
    finish(signal, word >> plan.bit & plan.mask, reading);
  } else {
    read_beyond(signal, data, reading);
  }
}

bool is_chosen(const SignalSpec& signal, const Chooser& chooser) {
  if (!chooser.known) return false;
  for (const RawRange& range : signal.present_for)
    if (chooser.raw >= range.first && chooser.raw <= range.last) return true;
  return false;
}

std::size_t read_multiplexed(const MessageSpec& message, Bytes data, std::vector<Reading>& out) {
  thread_local std::vector<Chooser> choosers;  // by index of the signal; keeps its memory
  choosers.assign(message.signals.size(), {});
  std::size_t count = 0;
  for (std::size_t i = 0; i < message.signals.size(); ++i) {
    const SignalSpec& signal = message.signals[i];
    if (signal.multiplexor >= 0 && !is_chosen(signal, choosers[static_cast<std::size_t>(signal.multiplexor)]))
      continue;
    Reading& reading = out[count++];
    read_one(signal, data, reading);
    choosers[i] = {reading.raw, reading.validity != Validity::cut_off};
  }
  return count;
}

}  // namespace

std::string_view validity_code(Validity validity) {
  switch (validity) {
    case Validity::valid:
      return "valid";
    case Validity::not_available:
      return "not-available";
    case Validity::error:
      return "error";
    case Validity::reserved:
      return "reserved";
    case Validity::out_of_range:
      return "out-of-range";
    case Validity::cut_off:
      break;
  }
  return "cut-off";
}

std::string_view validity_words(Validity validity, bool command) {
  switch (validity) {
    case Validity::valid:
      return "valid";
    case Validity::not_available:
      return command ? "not requested" : "not available";
    case Validity::error:
      return "error";
    case Validity::reserved:
      return "reserved";
    case Validity::out_of_range:
      return "out of range";
    case Validity::cut_off:
      break;
  }
  return "cut off";
}

std::string characters_of(const Reading& reading) {
  const SignalSpec& signal = *reading.signal;
  std::array<std::uint8_t, 8> bytes{};
  std::size_t count = std::min<std::size_t>(bytes.size(), (signal.bit_length + 7u) / 8u);
  for (std::size_t i = 0; i < count; ++i) {
    const std::size_t place = signal.order == ByteOrder::little ? i : count - 1 - i;
    bytes[i] = static_cast<std::uint8_t>(reading.raw >> (8 * place));
  }
  while (count > 0 && (bytes[count - 1] == 0 || bytes[count - 1] == ' ')) --count;
  return printable_latin1({bytes.data(), count});
}

void read_signals(const MessageSpec& message, Bytes data, std::vector<Reading>& out) {
  // Readings are written over those of the message before, and what is left over is cut off at the end.
  const std::size_t room = message.signals.size();
  if (out.size() < room) out.resize(room);
  if (message.multiplexed) {
    out.resize(read_multiplexed(message, data, out));
    return;
  }
  Reading* reading = out.data();
  for (const SignalSpec& signal : message.signals) read_one(signal, data, *reading++);
  out.resize(room);
}

std::optional<Reading> read_signal(const SignalSpec& signal, Bytes data) {
  for (const SignalSpec* chosen = &signal; chosen->multiplexor >= 0;) {
    if (signal.message == nullptr) return std::nullopt;
    const SignalSpec& chooser = signal.message->signals[static_cast<std::size_t>(chosen->multiplexor)];
    const auto raw = take_raw(chooser.plan, data);
    if (!is_chosen(*chosen, {raw.value_or(0), raw.has_value()})) return std::nullopt;
    chosen = &chooser;
  }
  Reading reading;
  read_one(signal, data, reading);
  return reading;
}

}  // namespace tramlog
