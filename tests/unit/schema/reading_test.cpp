// Signals out of messages that are written here as DBC text, with values worked out by hand.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <limits>

#include "schema/schema.hpp"
#include "unit/schema/bit_writer.hpp"
#include "unit/schema/reading_cases.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

Payload from_hex(const std::string& hex) {
  Payload data;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2)
    data.push_back(static_cast<std::uint8_t>(std::stoi(hex.substr(i, 2), nullptr, 16)));
  return data;
}

// One message out of DBC text; extended identifiers count as PGNs.
Schema schema_of(const std::string& text) {
  DbcFile file = parse_dbc(text, "test.dbc");
  check_dbc(file);
  for (const SchemaProblem& problem : file.problems)
    if (problem.severity == SchemaProblem::Severity::error) FAIL_CHECK(describe(problem));
  Schema schema;
  schema.add(std::move(file));
  return schema;
}

const MessageSpec& only_message(const Schema& schema) {
  const auto messages = schema.messages();
  REQUIRE(messages.size() == 1);
  return *messages.front();
}

// "Speed=2.50 Mode=2(hold) Mass=not-available"
std::string told(const std::vector<Reading>& readings) {
  std::string text;
  for (const Reading& reading : readings) {
    if (!text.empty()) text += ' ';
    text += reading.signal->name + '=';
    if (reading.has_value()) text += format_number(reading.value);
    if (reading.validity != Validity::valid) text += fmt::format("<{}>", validity_code(reading.validity));
    if (reading.text != nullptr) text += fmt::format("({})", *reading.text);
  }
  return text;
}

std::string read(const Schema& schema, const std::string& hex) {
  std::vector<Reading> readings;
  read_signals(only_message(schema), from_hex(hex), readings);
  return told(readings);
}

void check_places(std::span<const PlacedCase> cases) {
  for (const PlacedCase& placed : cases) {
    CAPTURE(placed.place, placed.payload);
    const Schema schema = schema_of(fmt::format("BO_ 100 Test: {} Anybody\n SG_ X : {} [0|0] \"\" Anybody\n",
                                                placed.length, placed.place));
    CHECK(read(schema, placed.payload) == std::string("X=") + placed.value);
    // Cut off where the last byte is missing.
    const SignalSpec& signal = only_message(schema).signals.at(0);
    const Payload data = from_hex(placed.payload);
    REQUIRE(data.size() == placed.length);
    const std::size_t needed = signal.plan.last_byte + 1;
    // Memory of exactly that size, so that a load beyond it would be seen.
    const Payload enough(data.begin(), data.begin() + static_cast<std::ptrdiff_t>(needed));
    const Payload short_by_one(data.begin(), data.begin() + static_cast<std::ptrdiff_t>(needed - 1));
    CHECK(format_number(read_signal(signal, enough)->value) == placed.value);
    CHECK(read_signal(signal, short_by_one)->validity == Validity::cut_off);
  }
}

}  // namespace

TEST_CASE("most significant bit first, at odd places") {
  check_places(kMotorola);
}

TEST_CASE("64 bits read exactly") {
  check_places(kWide);
}

TEST_CASE("signals anywhere in 200 bytes") {
  check_places(kLong);
}

TEST_CASE("binary fractions") {
  for (const FractionCase& fraction : kFractions) {
    CAPTURE(fraction.payload, fraction.bits, fraction.start, fraction.big);
    const Schema schema =
        schema_of(fmt::format("BO_ 100 Test: {} Anybody\n SG_ X : {}|{}@{}- (1,0) [0|0] \"\" "
                              "Anybody\nSIG_VALTYPE_ 100 X : {};\n",
                              std::strlen(fraction.payload) / 2, fraction.start, fraction.bits,
                              fraction.big ? 0 : 1, fraction.bits == 32 ? 1 : 2));
    const auto reading = read_signal(only_message(schema).signals.at(0), from_hex(fraction.payload));
    REQUIRE(reading);
    CHECK(reading->validity == Validity::valid);
    CHECK(reading->value.kind == Number::Kind::real);
    CHECK(reading->value.real == fraction.value);
  }
}

TEST_CASE("binary fractions that are none, and scaled ones") {
  const Schema schema = schema_of(
      "BO_ 100 Test: 8 Anybody\n"
      " SG_ Scaled : 0|32@1- (0.5,10) [0|20] \"m\" Anybody\n"
      "SIG_VALTYPE_ 100 Scaled : 1;\n");
  const SignalSpec& signal = only_message(schema).signals.at(0);
  const auto with = [&](float value) {
    Payload data(8, 0xFF);
    std::memcpy(data.data(), &value, 4);
    return *read_signal(signal, data);
  };
  CHECK(with(4).value.real == 12);
  CHECK(with(20).validity == Validity::valid);
  CHECK(with(20.1F).validity == Validity::out_of_range);
  CHECK(with(20.1F).value.real == Approx(20.05));
  CHECK(with(-20.1F).validity == Validity::out_of_range);
  CHECK(with(std::nanf("")).validity == Validity::not_available);
  CHECK(with(std::numeric_limits<float>::infinity()).validity == Validity::not_available);
  CHECK(with(-std::numeric_limits<float>::infinity()).validity == Validity::not_available);
  CHECK_FALSE(with(std::nanf("")).has_value());
}

TEST_CASE("a plain multiplexor chooses signals") {
  const Schema schema = schema_of(
      "BO_ 100 Test: 8 Anybody\n"
      " SG_ Page M : 0|4@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Alive : 4|4@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Speed m0 : 8|16@1+ (0.01,0) [0|0] \"\" Anybody\n"
      " SG_ Mass m1 : 8|12@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Level m1 : 20|4@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Heat m2 : 8|8@1- (1,-10) [0|0] \"\" Anybody\n"
      " SG_ Count m5 : 8|32@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Tail : 56|8@1+ (1,0) [0|0] \"\" Anybody\n");
  for (const MuxCase& mux : kSimpleMux) {
    CAPTURE(mux.payload);
    CHECK(read(schema, mux.payload) == mux.readings);
  }
}

TEST_CASE("multiplexors choose multiplexors by ranges") {
  const Schema schema = schema_of(
      "BO_ 100 Test: 8 Anybody\n"
      // Written upside down: the order in the file does not matter.
      " SG_ Wide m2 : 32|32@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Last m100 : 32|8@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Deeper m8M : 24|8@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Plain m0 : 16|8@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Deep m0 : 16|16@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Inner m1M : 8|4@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Outer M : 0|8@1+ (1,0) [0|0] \"\" Anybody\n"
      "SG_MUL_VAL_ 100 Inner Outer 1-3, 7-7;\n"
      "SG_MUL_VAL_ 100 Plain Outer 0-0, 10-20;\n"
      "SG_MUL_VAL_ 100 Wide Outer 2-2;\n"
      "SG_MUL_VAL_ 100 Deep Inner 0-4, 9-9;\n"
      "SG_MUL_VAL_ 100 Deeper Inner 8-15;\n"
      "SG_MUL_VAL_ 100 Last Deeper 100-200;\n");
  const MessageSpec& message = only_message(schema);
  REQUIRE(message.signals.size() == 7);
  for (std::size_t i = 0; i < message.signals.size(); ++i)
    CHECK(message.signals[i].multiplexor < static_cast<std::int32_t>(i));
  for (const MuxCase& mux : kNestedMux) {
    CAPTURE(mux.payload);
    CHECK(read(schema, mux.payload) == mux.readings);
    // One by one they say the same.
    std::vector<Reading> single;
    const Payload data = from_hex(mux.payload);
    for (const SignalSpec& signal : message.signals)
      if (const auto reading = read_signal(signal, data)) single.push_back(*reading);
    CHECK(told(single) == mux.readings);
  }
}

TEST_CASE("what a multiplexor chooses is unknown without the multiplexor") {
  const Schema schema = schema_of(
      "BO_ 100 Test: 8 Anybody\n"
      " SG_ Page M : 56|8@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Speed m0 : 0|8@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ Tail m1 : 48|8@1+ (1,0) [0|0] \"\" Anybody\n");
  CHECK(read(schema, "0a00000000000000") == "Page=0 Speed=10");
  CHECK(read(schema, "0a000000000000") == "Page=<cut-off>");
  CHECK(read(schema, "") == "Page=<cut-off>");
}

TEST_CASE("short messages cut signals off, long ones do not matter") {
  const Schema schema = schema_of(
      "BO_ 100 Test: 8 Anybody\n"
      " SG_ A : 0|8@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ B : 12|8@1+ (1,0) [0|0] \"\" Anybody\n"
      " SG_ C : 48|16@1+ (1,0) [0|0] \"\" Anybody\n");
  CHECK(read(schema, "") == "A=<cut-off> B=<cut-off> C=<cut-off>");
  CHECK(read(schema, "07") == "A=7 B=<cut-off> C=<cut-off>");
  CHECK(read(schema, "07ff") == "A=7 B=<cut-off> C=<cut-off>");
  CHECK(read(schema, "07a00b") == "A=7 B=186 C=<cut-off>");
  CHECK(read(schema, "07a00b00000001") == "A=7 B=186 C=<cut-off>");
  CHECK(read(schema, "07a00b0000000102") == "A=7 B=186 C=513");
  CHECK(read(schema, "07a00b0000000102ffffff") == "A=7 B=186 C=513");
}

TEST_CASE("places follow factor and offset") {
  const auto show = [](const std::string& scaling, std::uint8_t raw) {
    const Schema schema =
        schema_of("BO_ 100 Test: 1 Anybody\n SG_ X : 0|8@1+ " + scaling + " [0|0] \"\" Anybody\n");
    const std::uint8_t data[] = {raw};
    return format_number(read_signal(only_message(schema).signals.at(0), data)->value);
  };
  CHECK(show("(0.4,0)", 25) == "10.0");
  CHECK(show("(1,0)", 25) == "25");
  CHECK(show("(0.5,-273)", 250) == "-148.0");
  CHECK(show("(2,-0.25)", 3) == "5.75");
  CHECK(show("(0.1,0.05)", 3) == "0.35");
  CHECK(show("(100,0)", 3) == "300");
  CHECK(show("(1E2,5)", 3) == "305");
  CHECK(show("(-1,0)", 3) == "-3");
  CHECK(show("(-1,0)", 0) == "0");
  CHECK(show("(1e-20,0)", 3) == "0.00000000000000000003");
  CHECK(show("(0.1,-0.1)", 1) == "0.0");
  CHECK(show("(0.50,0)", 3) == "1.5");
}

TEST_CASE("what does not fit into 64 bits is a binary fraction") {
  const auto value = [](const std::string& place, const std::string& hex) {
    const Schema schema = schema_of("BO_ 100 Test: 8 Anybody\n SG_ X : " + place + " [0|0] \"\" Anybody\n");
    return read_signal(only_message(schema).signals.at(0), from_hex(hex))->value;
  };
  // 2^64 - 1 times 10, times 1e-30, and less 1: one beyond what an unsigned or a signed 64-bit integer holds.
  CHECK(value("0|64@1+ (10,0)", "ffffffffffffffff").real == Approx(1.8446744073709552e20));
  CHECK(value("0|64@1+ (10,0)", "ffffffffffffffff").kind == Number::Kind::real);
  CHECK(value("0|8@1+ (1e-30,0)", "0300000000000000").real == Approx(3e-30));
  CHECK(value("0|64@1+ (1,-1)", "0000000000000080").real == Approx(9.2233720368547758e18));
  CHECK(value("0|64@1+ (1,-1)", "0000000000000080").kind == Number::Kind::real);
  CHECK(value("0|64@1- (-1,0)", "0000000000000080").kind == Number::Kind::real);
  CHECK(value("0|64@1- (-1,0)", "0000000000000080").real == Approx(9.2233720368547758e18));
  CHECK(value("0|8@1+ (1e200,0)", "0200000000000000").real == Approx(2e200));
  CHECK(format_number(value("0|63@1- (1,-1)", "0000000000000000")) == "-1");
}

TEST_CASE("ranges") {
  const auto validity = [](const std::string& signal, std::uint8_t raw) {
    const Schema schema = schema_of("BO_ 100 Test: 1 Anybody\n SG_ X : " + signal + " \"\" Anybody\n");
    const std::uint8_t data[] = {raw};
    return validity_code(read_signal(only_message(schema).signals.at(0), data)->validity);
  };
  CHECK(validity("0|8@1+ (0.4,0) [0|100]", 250) == "valid");
  CHECK(validity("0|8@1+ (0.4,0) [0|100]", 251) == "out-of-range");
  CHECK(validity("0|8@1- (1,0) [-5|5]", 0xFB) == "valid");
  CHECK(validity("0|8@1- (1,0) [-5|5]", 0xFA) == "out-of-range");
  CHECK(validity("0|8@1- (1,0) [-5|5]", 5) == "valid");
  CHECK(validity("0|8@1- (1,0) [-5|5]", 6) == "out-of-range");
  CHECK(validity("0|8@1+ (-1,0) [-5|-2]", 5) == "valid");
  CHECK(validity("0|8@1+ (-1,0) [-5|-2]", 6) == "out-of-range");
  CHECK(validity("0|8@1+ (-1,0) [-5|-2]", 2) == "valid");
  CHECK(validity("0|8@1+ (-1,0) [-5|-2]", 1) == "out-of-range");
  CHECK(validity("0|8@1+ (0.3,0) [0|10]", 33) == "valid");         // 9.9
  CHECK(validity("0|8@1+ (0.3,0) [0|10]", 34) == "out-of-range");  // 10.2
  CHECK(validity("0|8@1+ (1,0) [0.5|1e3]", 0) == "out-of-range");
  CHECK(validity("0|8@1+ (1,0) [0.5|1e3]", 255) == "valid");
  CHECK(validity("0|8@1+ (1,0) [300|400]", 255) == "out-of-range");
  CHECK(validity("0|8@1+ (1,0) [-1e300|-1]", 0) == "out-of-range");
  CHECK(validity("0|8@1+ (1e-30,0) [0|2e-29]", 20) == "valid");
  CHECK(validity("0|8@1+ (1e-30,0) [0|2e-29]", 21) == "out-of-range");
}

TEST_CASE("a value out of range is kept") {
  const Schema schema = schema_of("BO_ 100 Test: 1 Anybody\n SG_ X : 0|8@1+ (0.4,0) [0|100] \"%\" Anybody\n");
  CHECK(read(schema, "ff") == "X=102.0<out-of-range>");
}

TEST_CASE("full 64-bit ranges that were rounded when they were written") {
  const auto validity = [](const std::string& limits) {
    const Schema schema =
        schema_of("BO_ 100 Test: 8 Anybody\n SG_ X : 0|64@1+ (1,0) [" + limits + "] \"\" Anybody\n");
    return validity_code(
        read_signal(only_message(schema).signals.at(0), from_hex("ffffffffffffffff"))->validity);
  };
  CHECK(validity("0|18446744073709551615") == "valid");
  CHECK(validity("0|1.84467440737096E+19") == "valid");
  CHECK(validity("0|1.8E+19") == "out-of-range");
}
