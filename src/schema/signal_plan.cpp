#include "schema/signal_plan.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>

#include "schema/code_rules.hpp"
#include "schema/schema.hpp"

namespace tramlog {
namespace {

__extension__ typedef __int128 Wide;
__extension__ typedef unsigned __int128 WideBits;

constexpr int kMaxDecimals = 20;

Wide power_of_ten(int exponent) {
  Wide power = 1;
  while (exponent-- > 0) power *= 10;
  return power;
}

// digits x 10^up as an integer of at most 64 bits and a sign; none if it is larger.
std::optional<Wide> shifted_up(std::int64_t digits, int up) {
  if (digits == 0) return Wide{0};
  if (up < 0 || up > 19) return std::nullopt;
  const Wide value = Wide{digits} * power_of_ten(up);
  const Wide limit = Wide{1} << 64;
  if (value >= limit || value <= -limit) return std::nullopt;
  return value;
}

void place(SignalPlan& plan, const SignalSpec& signal, std::uint32_t message_length) {
  const std::uint64_t start = signal.start_bit;
  const unsigned length = signal.bit_length;
  plan.mask = length >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << length) - 1;
  plan.sign = signal.encoding == Encoding::signed_integer ? std::uint64_t{1} << (length - 1) : 0;
  plan.big = signal.order == ByteOrder::big;
  // Bits counted in the order in which they follow each other: from the least significant bit of each byte
  // up, or from the most significant one down.
  const std::uint64_t first_bit = plan.big ? start / 8 * 8 + (7 - start % 8) : start;
  const std::uint64_t last_bit = first_bit + length - 1;
  const auto first_byte = static_cast<std::uint32_t>(first_bit / 8);
  plan.last_byte = static_cast<std::uint32_t>(last_bit / 8);
  plan.byte = first_byte;
  // An eight byte load that ends with the message needs no copy.
  if (plan.last_byte < message_length && message_length >= 8)
    plan.byte = std::min(first_byte, message_length - 8);
  plan.fast = plan.last_byte - plan.byte < 8;
  if (!plan.fast) plan.byte = first_byte;
  const std::uint64_t base = std::uint64_t{plan.byte} * 8;
  if (plan.fast)
    plan.bit = static_cast<std::uint8_t>(plan.big ? 63 - (last_bit - base) : first_bit - base);
  else
    plan.bit = static_cast<std::uint8_t>(plan.big ? 7 - last_bit % 8 : first_bit % 8);
}

// value = (bits x scale + shift) x 10^-decimals, before it is known to fit into 64 bits.
struct Scaling {
  Wide scale = 0, shift = 0;
  int decimals = 0;
};

// Integer arithmetic, if it cannot overflow for any raw value.
std::optional<Scaling> scale_exactly(SignalPlan& plan, const SignalSpec& signal) {
  const Decimal& factor = signal.factor;
  const Decimal& offset = signal.offset;
  int decimals = 0;
  if (factor.digits != 0) decimals = std::max(decimals, -factor.exponent);
  if (offset.digits != 0) decimals = std::max(decimals, -offset.exponent);
  if (decimals > kMaxDecimals) return std::nullopt;
  const auto scale = shifted_up(factor.digits, factor.exponent + decimals);
  const auto shift = shifted_up(offset.digits, offset.exponent + decimals);
  if (!scale || !shift) return std::nullopt;
  const bool is_signed = plan.sign != 0;
  const Wide first = is_signed ? -static_cast<Wide>(plan.sign) : 0;
  const Wide last = is_signed ? static_cast<Wide>(plan.sign) - 1 : static_cast<Wide>(plan.mask);
  // Far more than fits below; keeps the products themselves from running over.
  const Wide magnitude = *scale < 0 ? -*scale : *scale;
  if (magnitude > (Wide{1} << 66) / std::max(last, Wide{1})) return std::nullopt;
  const Wide at_first = first * *scale + *shift;
  const Wide at_last = last * *scale + *shift;
  const Wide low = std::min(at_first, at_last);
  const Wide high = std::max(at_first, at_last);
  if (low >= 0 && high < (Wide{1} << 64))
    plan.may_be_negative = false;
  else if (low >= -(Wide{1} << 63) && high < (Wide{1} << 63))
    plan.may_be_negative = true;
  else
    return std::nullopt;
  plan.exact = true;
  plan.scale = static_cast<std::uint64_t>(*scale);
  plan.shift = static_cast<std::uint64_t>(*shift);
  plan.decimals = static_cast<std::uint8_t>(decimals);
  return Scaling{*scale, *shift, decimals};
}

// -1, 0, 1 as an exact number is below, at or above digits x 10^exponent.
int compare(const Number& number, Wide digits, int exponent) {
  const Wide value =
      number.negative ? -static_cast<Wide>(number.magnitude) : static_cast<Wide>(number.magnitude);
  const auto sign = [](Wide x) { return x < 0 ? -1 : x > 0 ? 1 : 0; };
  const int up = exponent + number.decimals;
  if (up >= 0) {
    if (digits == 0) return sign(value);
    if (up > 19) return digits > 0 ? -1 : 1;
    return sign(value - digits * power_of_ten(up));
  }
  if (value == 0) return -sign(digits);
  if (up < -18) return sign(value);
  return sign(value * power_of_ten(-up) - digits);
}

constexpr std::int64_t kRoundedFrom = 100'000'000'000'000'000;  // 18 digits: parse_decimal() may have rounded

int compare(const Number& number, const Decimal& limit) {
  if (number.kind == Number::Kind::exact) {
    if (limit.digits < kRoundedFrom && limit.digits > -kRoundedFrom)
      return compare(number, limit.digits, limit.exponent);
    if (compare(number, Wide{limit.digits} - 1, limit.exponent) <= 0) return -1;
    return compare(number, Wide{limit.digits} + 1, limit.exponent) >= 0 ? 1 : 0;
  }
  const double bound = limit.to_double();
  if (std::fabs(number.real - bound) <= std::fabs(bound) * 1e-12) return 0;  // rounding errors of both
  return number.real < bound ? -1 : 1;
}

bool is_in_range(const SignalSpec& signal, std::uint64_t bits) {
  if (!signal.minimum && !signal.maximum) return true;
  const Number value = scaled(signal.plan, bits);
  return !(signal.minimum && compare(value, *signal.minimum) < 0) &&
         !(signal.maximum && compare(value, *signal.maximum) > 0);
}

// The first bits from `numbers` on, and the last ones, that are within the range; false if none are. Works
// for every scaling: values rise or fall with the bits.
bool search_valid_run(SignalSpec& signal, const NumberRange& numbers) {
  SignalPlan& plan = signal.plan;
  // Distances from the first, so that signed and unsigned go alike.
  const std::uint64_t span = numbers.last - numbers.first;
  const bool falls = signal.factor.digits < 0;
  const auto beyond_low = [&](std::uint64_t distance) {
    const Number value = scaled(plan, numbers.first + distance);
    return falls ? signal.maximum && compare(value, *signal.maximum) > 0
                 : signal.minimum && compare(value, *signal.minimum) < 0;
  };
  const auto beyond_high = [&](std::uint64_t distance) {
    const Number value = scaled(plan, numbers.first + distance);
    return falls ? signal.minimum && compare(value, *signal.minimum) < 0
                 : signal.maximum && compare(value, *signal.maximum) > 0;
  };
  if (beyond_low(span) || beyond_high(0)) return false;
  std::uint64_t low = 0;
  for (std::uint64_t high = span; low < high;) {
    const std::uint64_t middle = low + (high - low) / 2;
    if (beyond_low(middle))
      low = middle + 1;
    else
      high = middle;
  }
  std::uint64_t last = span;
  for (std::uint64_t from = 0; from < last;) {
    const std::uint64_t middle = last - (last - from) / 2;
    if (beyond_high(middle))
      last = middle - 1;
    else
      from = middle;
  }
  if (low > last) return false;
  plan.valid_first = numbers.first + low;
  plan.valid_span = last - low;
  return true;
}

Wide floor_divided(Wide value, Wide by) {
  // Divisions of 128 bits are slow.
  const bool narrow =
      value == static_cast<std::int64_t>(value) && by == static_cast<std::int64_t>(by) && value != INT64_MIN;
  const Wide quotient =
      narrow ? static_cast<std::int64_t>(value) / static_cast<std::int64_t>(by) : value / by;
  return quotient * by != value && (value < 0) != (by < 0) ? quotient - 1 : quotient;
}

Wide ceil_divided(Wide value, Wide by) {
  return -floor_divided(-value, by);
}

// A limit in steps of 10^-decimals: rounded up to the next step or down. None if it is rounded or far away.
std::optional<Wide> limit_in_steps(const Decimal& limit, int decimals, bool up) {
  constexpr int kMostPlaces = 18;
  const int places = limit.exponent + decimals;
  const bool rounded = limit.digits >= kRoundedFrom || limit.digits <= -kRoundedFrom;
  if (rounded || places > kMostPlaces || places < -kMostPlaces) return std::nullopt;
  if (places >= 0) return Wide{limit.digits} * power_of_ten(places);
  const Wide by = power_of_ten(-places);
  return up ? ceil_divided(limit.digits, by) : floor_divided(limit.digits, by);
}

// Bits as a number, and back.
Wide number_of_bits(const SignalPlan& plan, std::uint64_t bits) {
  return plan.sign != 0 ? Wide{static_cast<std::int64_t>(bits)} : Wide{bits};
}

// The run of raw values that are numbers within the range. False if there is none.
bool find_valid_run(SignalSpec& signal, const NumberRange& numbers, const std::optional<Scaling>& exact) {
  SignalPlan& plan = signal.plan;
  Wide first = number_of_bits(plan, numbers.first);
  Wide last = number_of_bits(plan, numbers.last);
  if (signal.minimum || signal.maximum) {
    if (!exact || exact->scale == 0) return search_valid_run(signal, numbers);
    const bool falls = exact->scale < 0;
    if (signal.minimum) {
      const auto low = limit_in_steps(*signal.minimum, exact->decimals, true);
      if (!low) return search_valid_run(signal, numbers);
      if (falls)
        last = std::min(last, floor_divided(*low - exact->shift, exact->scale));
      else
        first = std::max(first, ceil_divided(*low - exact->shift, exact->scale));
    }
    if (signal.maximum) {
      const auto high = limit_in_steps(*signal.maximum, exact->decimals, false);
      if (!high) return search_valid_run(signal, numbers);
      if (falls)
        first = std::max(first, ceil_divided(*high - exact->shift, exact->scale));
      else
        last = std::min(last, floor_divided(*high - exact->shift, exact->scale));
    }
  }
  if (first > last) return false;
  plan.valid_first = static_cast<std::uint64_t>(first);
  plan.valid_span = static_cast<std::uint64_t>(last - first);
  return true;
}

// A table of states, as against a number with a few special codes: it names the first two and the last one.
bool is_table_of_states(const SignalSpec& signal) {
  if (signal.rule == CodeRule::none || signal.all_valid || signal.bit_length < 2 || signal.plan.sign != 0)
    return false;
  const auto has_name = [&](std::uint64_t raw) {
    return std::any_of(signal.codes.begin(), signal.codes.end(),
                       [&](const CodeName& code) { return static_cast<std::uint64_t>(code.code) == raw; });
  };
  return has_name(0) && has_name(1) && has_name(signal.plan.mask);
}

// What validity_by_rule() says, with the run of valid values at hand.
Validity validity_by_run(const SignalSpec& signal, const NumberRange& numbers, std::uint64_t raw) {
  const SignalPlan& plan = signal.plan;
  const std::uint64_t bits = plan.extend(raw);
  if (signal.bit_length == 1) return Validity::valid;
  // Of texts single values within the run may be reserved.
  const bool is_number = bits - numbers.first <= numbers.last - numbers.first;
  if (!is_number || signal.characters) {
    const Validity validity = class_of_code(signal, raw);
    if (validity != Validity::valid) return validity;
  }
  return plan.has_run && bits - plan.valid_first <= plan.valid_span ? Validity::valid
                                                                    : Validity::out_of_range;
}

void fill_slots(SignalSpec& signal, const NumberRange& numbers) {
  const std::size_t count = std::size_t{1} << signal.bit_length;
  const bool states = is_table_of_states(signal);
  signal.slots.resize(count);
  for (std::size_t raw = 0; raw < count; ++raw) {
    const Validity validity = validity_by_run(signal, numbers, raw);
    const bool nameless = states && (validity == Validity::valid || validity == Validity::out_of_range);
    signal.slots[raw].validity = nameless ? Validity::reserved : validity;
  }
  for (std::size_t i = 0; i < signal.codes.size() && i < INT16_MAX; ++i) {
    const std::int64_t code = signal.codes[i].code;
    const std::uint64_t raw = static_cast<std::uint64_t>(code) & signal.plan.mask;
    if (signal.plan.extend(raw) != static_cast<std::uint64_t>(code)) continue;  // no such raw value
    signal.slots[raw].code = static_cast<std::int16_t>(i);
    signal.slots[raw].validity = signal.bit_length == 1 ? Validity::valid : signal.code_validity[i];
  }
}

bool begins_with(std::string_view text, std::string_view start) {
  if (text.size() < start.size()) return false;
  for (std::size_t i = 0; i < start.size(); ++i) {
    const char c = text[i] >= 'A' && text[i] <= 'Z' ? static_cast<char>(text[i] - 'A' + 'a') : text[i];
    if (c != start[i]) return false;
  }
  return true;
}

}  // namespace

void compile_plan(SignalSpec& signal, std::uint32_t message_length) {
  SignalPlan& plan = signal.plan;
  plan = {};
  signal.slots.clear();
  signal.code_validity.clear();
  signal.code_validity.reserve(signal.codes.size());
  for (const CodeName& code : signal.codes) signal.code_validity.push_back(validity_by_name(code.text));
  place(plan, signal, message_length);
  plan.factor = signal.factor.to_double();
  plan.offset = signal.offset.to_double();
  if (signal.encoding == Encoding::float32 || signal.encoding == Encoding::float64) return;
  const NumberRange numbers = numbers_of(signal);
  plan.has_run = find_valid_run(signal, numbers, scale_exactly(plan, signal));
  if (signal.bit_length == 1 || (!signal.codes.empty() && signal.bit_length <= 8)) {
    fill_slots(signal, numbers);
    plan.path = SignalPlan::Path::slots;
  } else if (signal.codes.empty() && plan.has_run) {
    plan.path = SignalPlan::Path::plain;
  }
}

std::optional<std::uint64_t> take_raw(const SignalPlan& plan, Bytes data) {
  if (data.size() <= plan.last_byte) return std::nullopt;
  const std::uint8_t* const from = data.data() + plan.byte;
  if (plan.fast) {
    std::uint64_t word = 0;
    if (data.size() - plan.byte >= 8) {
      word = load_le64(from);
    } else {
      std::array<std::uint8_t, 8> padded{};
      std::memcpy(padded.data(), from, data.size() - plan.byte);
      word = load_le64(padded.data());
    }
    if (plan.big) word = swap_bytes(word);
    return word >> plan.bit & plan.mask;
  }
  // Nine bytes.
  WideBits bits = 0;
  const std::uint32_t count = plan.last_byte - plan.byte + 1;
  for (std::uint32_t i = 0; i < count; ++i) bits = bits << 8 | from[plan.big ? i : count - 1 - i];
  return static_cast<std::uint64_t>(bits >> plan.bit) & plan.mask;
}

Number scaled(const SignalPlan& plan, std::uint64_t bits) {
  Number number;
  if (plan.exact) {
    const std::uint64_t value = bits * plan.scale + plan.shift;
    const std::uint64_t negative = value >> 63 & (plan.may_be_negative ? 1U : 0U);
    number.magnitude = (value ^ (0 - negative)) + negative;
    number.decimals = plan.decimals;
    number.negative = negative != 0;
    return number;
  }
  const double integer =
      plan.sign != 0 ? static_cast<double>(static_cast<std::int64_t>(bits)) : static_cast<double>(bits);
  number.kind = Number::Kind::real;
  number.real = integer * plan.factor + plan.offset;
  return number;
}

Validity validity_by_rule(const SignalSpec& signal, std::uint64_t raw) {
  if (signal.bit_length == 1) return Validity::valid;
  const Validity validity = class_of_code(signal, raw);
  if (validity != Validity::valid) return validity;
  return is_in_range(signal, signal.plan.extend(raw)) ? Validity::valid : Validity::out_of_range;
}

Validity validity_by_name(std::string_view text) {
  for (const std::string_view start : {"not available", "no action", "take no action", "not requested"})
    if (begins_with(text, start)) return Validity::not_available;
  for (const std::string_view start : {"error", "fault,", "non-recoverable fault"})
    if (begins_with(text, start)) return Validity::error;
  if (text.size() == 5 && begins_with(text, "fault")) return Validity::error;
  for (const std::string_view start : {"reserved", "not defined"})
    if (begins_with(text, start)) return Validity::reserved;
  return Validity::valid;
}

}  // namespace tramlog
