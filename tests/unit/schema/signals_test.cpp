// Every signal of the fact sheet, encoded here and read by the built-in schema.
#include <catch2/catch.hpp>
#include <cmath>
#include <set>

#include "schema/schema.hpp"
#include "unit/schema/bit_writer.hpp"
#include "unit/schema/signal_rows.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

// A number out of the table as an integer times a power of ten.
struct Exact {
  __extension__ typedef __int128 Wide;
  Wide digits = 0;
  int decimals = 0;

  static Exact of(const std::string& text) {
    Exact exact;
    int exponent = 0;
    bool negative = false;
    bool point = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
      if (text[i] == '-') {
        negative = true;
      } else if (text[i] == '.') {
        point = true;
      } else if (text[i] == 'e') {
        exponent = std::stoi(text.substr(i + 1));
        break;
      } else {
        exact.digits = exact.digits * 10 + (text[i] - '0');
        if (point) ++exact.decimals;
      }
    }
    if (negative) exact.digits = -exact.digits;
    exact.decimals -= exponent;
    for (; exact.decimals < 0; ++exact.decimals) exact.digits *= 10;
    return exact;
  }
  Wide with(int places) const {
    Wide value = digits;
    for (int i = decimals; i < places; ++i) value *= 10;
    return value;
  }
};

std::string digits_of(Exact::Wide value, int places) {
  const bool negative = value < 0;
  if (negative) value = -value;
  std::string text;
  for (int i = 0; value != 0 || i <= places; ++i) {
    if (i == places && places > 0) text.insert(text.begin(), '.');
    text.insert(text.begin(), static_cast<char>('0' + static_cast<int>(value % 10)));
    value /= 10;
  }
  return negative ? "-" + text : text;
}

// 0.500 and 0.5 are the same number.
std::string without_end_zeros(std::string text) {
  if (text.find('.') == std::string::npos) return text;
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text.pop_back();
  return text;
}

std::int64_t integer_of(const Row& row, std::uint64_t raw) {
  if (row.is_signed && row.bits < 64 && (raw >> (row.bits - 1)) != 0)
    return static_cast<std::int64_t>(raw) - (std::int64_t{1} << row.bits);
  return static_cast<std::int64_t>(raw);
}

struct Expected {
  std::optional<Validity> validity;  // none: the sheet does not say
  std::string value;
};

Expected expected_of(const Row& row, std::uint64_t raw) {
  const Exact factor = Exact::of(row.factor);
  const Exact offset = Exact::of(row.offset);
  const Exact minimum = Exact::of(row.minimum);
  const Exact maximum = Exact::of(row.maximum);
  const int places = std::max({factor.decimals, offset.decimals, minimum.decimals, maximum.decimals});
  const Exact::Wide integer =
      row.is_signed || row.bits < 64 ? Exact::Wide{integer_of(row, raw)} : Exact::Wide{raw};
  const Exact::Wide value = integer * factor.with(places) + offset.with(places);
  Expected expected;
  expected.value = without_end_zeros(digits_of(value, places));
  if (row.unit == "enum") {
    expected.validity = validity_of_code(row, raw);
    return expected;
  }
  expected.validity = validity_of_number(row, raw);
  const bool named = row.signal == "HeartbeatSequenceNumber" || row.signal == "OperatorStatusSequence";
  if (expected.validity == Validity::valid && !named &&
      (value < minimum.with(places) || value > maximum.with(places)))
    expected.validity = Validity::out_of_range;
  return expected;
}

std::set<std::uint64_t> raws_of(const Row& row) {
  const std::uint64_t mask = row.bits == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << row.bits) - 1;
  std::set<std::uint64_t> raws;
  if (row.bits <= 8) {
    for (std::uint64_t raw = 0; raw <= mask; ++raw) raws.insert(raw);
    return raws;
  }
  const std::uint64_t top = row.is_signed ? mask >> 1 : mask;
  for (std::uint64_t i = 0; i < 4; ++i) {
    raws.insert(i);
    raws.insert(top - i);
    raws.insert((top + 1 + i) & mask);
    raws.insert(mask / 2 + i);
    raws.insert(mask - i);
  }
  for (std::uint64_t byte = 0xF8; byte <= 0xFF; ++byte) {
    raws.insert(byte << (row.bits - 8));
    raws.insert((byte << (row.bits - 8)) | (mask >> 8));
  }
  // Both ends of the range, and one beyond.
  for (const std::string& limit : {row.minimum, row.maximum}) {
    const long double steps = (std::stold(limit) - std::stold(row.offset)) / std::stold(row.factor);
    const auto nearest = static_cast<std::int64_t>(std::min(steps, 9.2e18L));
    for (std::int64_t i = -2; i <= 2; ++i) {
      std::int64_t raw = 0;
      if (!__builtin_add_overflow(nearest, i, &raw)) raws.insert(static_cast<std::uint64_t>(raw) & mask);
    }
  }
  std::uint64_t walk = 0x9E3779B97F4A7C15;
  for (int i = 0; i < 40; ++i) {
    walk = walk * 6364136223846793005 + 1442695040888963407;
    raws.insert((walk ^ walk >> 29) & mask);
  }
  return raws;
}

const SignalSpec* signal_named(const MessageSpec& message, const std::string& name) {
  for (const SignalSpec& signal : message.signals)
    if (signal.name == name) return &signal;
  return nullptr;
}

// Sets the multiplexors above a signal so that it is there.
void choose(Payload& data, const SignalSpec& signal) {
  for (const SignalSpec* at = &signal; at->multiplexor >= 0;) {
    const SignalSpec& above = at->message->signals[static_cast<std::size_t>(at->multiplexor)];
    write_little(data, above.start_bit, above.bit_length, at->present_for.at(0).first);
    at = &above;
  }
}

std::vector<Payload> backgrounds(std::uint32_t length) {
  std::vector<Payload> all{Payload(length, 0x00), Payload(length, 0xFF), Payload(length, 0xA5)};
  Payload mixed(length);
  for (std::size_t i = 0; i < length; ++i) mixed[i] = static_cast<std::uint8_t>(37 * i + 11);
  all.push_back(mixed);
  return all;
}

}  // namespace

TEST_CASE("every signal of the fact sheet reads right") {
  const Schema& schema = Schema::built_in();
  const std::vector<Row> rows = signal_rows();
  REQUIRE(rows.size() == 555);
  std::size_t proved = 0;
  std::vector<Reading> readings;
  for (const Row& row : rows) {
    if (row.verified == "UNVERIFIED") continue;
    CAPTURE(row.where());
    const MessageSpec* const message = schema.find(make_id(6, row.pgn, 0x42, 0x26), true);
    REQUIRE(message != nullptr);
    const SignalSpec* const signal = signal_named(*message, row.signal);
    REQUIRE(signal != nullptr);
    CHECK(message->pgn == row.pgn);
    CHECK(message->length >= row.length);
    CHECK(signal->unit == (is_no_unit(row.unit) ? "" : row.unit));
    for (const Payload& background : backgrounds(row.length)) {
      for (const std::uint64_t raw : raws_of(row)) {
        Payload data = background;
        choose(data, *signal);
        write_little(data, row.start, row.bits, raw);
        const Expected expected = expected_of(row, raw);
        const std::optional<Reading> reading = read_signal(*signal, data);
        CAPTURE(raw, expected.value);
        REQUIRE(reading);
        if (reading->raw != raw) FAIL_CHECK("raw " << reading->raw);
        if (expected.validity && reading->validity != *expected.validity)
          FAIL_CHECK(validity_code(reading->validity) << " and not " << validity_code(*expected.validity));
        if (!expected.validity && (reading->validity == Validity::not_available))
          FAIL_CHECK("a code that nobody knows is called not available");
        if (reading->has_value() && without_end_zeros(format_number(reading->value)) != expected.value)
          FAIL_CHECK("value " << format_number(reading->value));
        // Among all others it is the same.
        read_signals(*message, data, readings);
        std::size_t found = 0;
        for (const Reading& other : readings) {
          if (other.signal != signal) continue;
          ++found;
          if (other.raw != raw || other.validity != reading->validity || other.text != reading->text)
            FAIL_CHECK("read_signals differs from read_signal");
        }
        if (found != 1) FAIL_CHECK("found " << found << " times");
      }
    }
    ++proved;
  }
  CHECK(proved == 554);
}

TEST_CASE("an old facility message leaves out what used to be reserved bits") {
  // Fact sheet, signals, 6: byte 2 bits 1-2, byte 4 bits 1-4, byte 5 bits 1-5, byte 7, byte 8 bits 2-8.
  const auto is_reserved = [](std::uint32_t bit) {
    return bit == 8 || bit == 9 || (bit >= 24 && bit <= 27) || (bit >= 32 && bit <= 36) ||
           (bit >= 48 && bit <= 55) || bit >= 57;
  };
  for (const Pgn pgn : {65033U, 65032U}) {
    const MessageSpec* const message = Schema::built_in().find(make_id(3, pgn, 0xF0), true);
    REQUIRE(message != nullptr);
    std::size_t rows = 0;
    std::size_t reserved_rows = 0;
    std::vector<Reading> readings;
    for (const bool old_sender : {false, true}) {
      Payload data(8, 0xFF);
      data[7] = old_sender ? 0xFF : 0xFE;
      read_signals(*message, data, readings);
      for (const Row& row : signal_rows()) {
        if (row.pgn != pgn) continue;
        CAPTURE(row.where(), old_sender);
        const bool there = std::any_of(readings.begin(), readings.end(), [&](const Reading& reading) {
          return reading.signal->name == row.signal;
        });
        CHECK(there == !(old_sender && is_reserved(row.start)));
        ++rows;
        if (is_reserved(row.start)) ++reserved_rows;
      }
    }
    CHECK(rows > 80);
    CHECK(reserved_rows > 10);
  }
}
