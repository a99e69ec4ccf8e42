// Which raw values are numbers (fact sheet, signals, 5), and what the names of codes say.
#include <catch2/catch.hpp>

#include "schema/schema.hpp"
#include "schema/signal_plan.hpp"
#include "unit/schema/bit_writer.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

constexpr const char* kIso = "2566834430";   // 0x98FEC8FE: PGN 65224, null address
constexpr const char* kNmea = "2583165950";  // 0x99F7FBFE: PGN 129019, data page 1

struct Options {
  const char* id = kIso;
  std::string codes;      // VAL_ list
  std::string attribute;  // "Codes \"all-valid\"" of the signal
  std::string message_attribute;
  std::string unit;
  const char* limits = "0|0";
};

Schema schema_of(unsigned bits, bool is_signed, const Options& options) {
  const std::string id = options.id;
  std::string text =
      "BO_ " + id + " Test: 8 Anybody\n SG_ X : 0|" + std::to_string(bits) + "@1" + (is_signed ? "-" : "+") +
      " (1,0) [" + options.limits + "] \"" + options.unit + "\" Anybody\n" +
      "BA_DEF_ SG_ \"Codes\" ENUM \"standard\",\"all-valid\";\n"
      "BA_DEF_ SG_ \"Purpose\" ENUM \"measured\",\"command\";\n"
      "BA_DEF_ BO_ \"Rule\" ENUM \"by-page\",\"iso11783\",\"nmea2000\",\"none\";\n"
      "BA_DEF_ BO_ \"VFrameFormat\" ENUM \"StandardCAN\",\"ExtendedCAN\",\"reserved\",\"J1939PG\";\n";
  if (!options.attribute.empty()) {
    const std::size_t blank = options.attribute.find(' ');
    text += "BA_ \"" + options.attribute.substr(0, blank) + "\" SG_ " + id + " X " +
            options.attribute.substr(blank + 1) + ";\n";
  }
  if (!options.message_attribute.empty()) {
    const std::size_t blank = options.message_attribute.find(' ');
    text += "BA_ \"" + options.message_attribute.substr(0, blank) + "\" BO_ " + id + " " +
            options.message_attribute.substr(blank + 1) + ";\n";
  }
  if (!options.codes.empty()) text += "VAL_ " + id + " X " + options.codes + " ;\n";
  DbcFile file = parse_dbc(text, "test.dbc");
  check_dbc(file);
  for (const SchemaProblem& problem : file.problems)
    if (problem.severity == SchemaProblem::Severity::error) FAIL_CHECK(describe(problem));
  Schema schema;
  schema.add(std::move(file));
  return schema;
}

Reading read(const Schema& schema, std::uint64_t raw) {
  const SignalSpec& signal = schema.messages().at(0)->signals.at(0);
  Payload data(8, 0);
  write_little(data, 0, signal.bit_length, raw);
  return *read_signal(signal, data);
}

std::string_view validity(unsigned bits, std::uint64_t raw, const Options& options = {},
                          bool is_signed = false) {
  return validity_code(read(schema_of(bits, is_signed, options), raw).validity);
}

}  // namespace

TEST_CASE("ISO 11783 codes of small fields") {
  CHECK(validity(1, 0) == "valid");
  CHECK(validity(1, 1) == "valid");
  CHECK(validity(2, 1) == "valid");
  CHECK(validity(2, 2) == "error");
  CHECK(validity(2, 3) == "not-available");
  CHECK(validity(3, 5) == "valid");
  CHECK(validity(3, 6) == "error");
  CHECK(validity(3, 7) == "not-available");
  CHECK(validity(4, 13) == "valid");
  CHECK(validity(4, 14) == "error");
  CHECK(validity(4, 15) == "not-available");
  CHECK(validity(5, 29) == "valid");
  CHECK(validity(5, 30) == "error");
  CHECK(validity(5, 31) == "not-available");
  CHECK(validity(6, 61) == "valid");
  CHECK(validity(6, 62) == "error");
  CHECK(validity(6, 63) == "not-available");
}

TEST_CASE("ISO 11783 codes of 8, 16 and 32 bits go by the top byte") {
  CHECK(validity(8, 0xFA) == "valid");
  CHECK(validity(8, 0xFB) == "reserved");
  CHECK(validity(8, 0xFD) == "reserved");
  CHECK(validity(8, 0xFE) == "error");
  CHECK(validity(8, 0xFF) == "not-available");
  CHECK(validity(16, 0xFAFF) == "valid");
  CHECK(validity(16, 0xFB00) == "reserved");
  CHECK(validity(16, 0xFDFF) == "reserved");
  CHECK(validity(16, 0xFE00) == "error");
  CHECK(validity(16, 0xFEFF) == "error");
  CHECK(validity(16, 0xFF00) == "not-available");
  CHECK(validity(32, 0xFAFFFFFF) == "valid");
  CHECK(validity(32, 0xFB000000) == "reserved");
  CHECK(validity(32, 0xFE000000) == "error");
  CHECK(validity(32, 0xFF000000) == "not-available");
}

TEST_CASE("other widths have only all ones") {
  for (const unsigned bits : {7U, 9U, 10U, 12U, 15U, 17U, 24U, 31U, 33U, 40U, 63U, 64U}) {
    CAPTURE(bits);
    const std::uint64_t all_ones = bits == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << bits) - 1;
    CHECK(validity(bits, all_ones) == "not-available");
    CHECK(validity(bits, all_ones - 1) == "valid");
    CHECK(validity(bits, 0) == "valid");
  }
}

TEST_CASE("two's complement has no reserved codes in ISO 11783") {
  CHECK(validity(8, 0xFF, {}, true) == "valid");
  CHECK(validity(32, 0x7FFFFFFF, {}, true) == "valid");
  CHECK(format_number(read(schema_of(32, true, {}), 0xFFFFFFFF).value) == "-1");
}

TEST_CASE("the standard's codes win over a range that was written carelessly") {
  Options options;
  options.limits = "0|255";
  CHECK(validity(8, 0xFF, options) == "not-available");
  CHECK(validity(8, 0xFE, options) == "error");
  options.limits = "0|100";
  CHECK(validity(8, 100, options) == "valid");
  CHECK(validity(8, 101, options) == "out-of-range");
  CHECK(validity(8, 0xFC, options) == "reserved");
}

TEST_CASE("NMEA 2000 codes are the exact top values") {
  Options nmea;
  nmea.id = kNmea;
  CHECK(validity(8, 0xFC, nmea) == "valid");
  CHECK(validity(8, 0xFD, nmea) == "reserved");
  CHECK(validity(8, 0xFE, nmea) == "error");
  CHECK(validity(8, 0xFF, nmea) == "not-available");
  CHECK(validity(16, 0xFE00, nmea) == "valid");
  CHECK(validity(16, 0xFFFC, nmea) == "valid");
  CHECK(validity(16, 0xFFFD, nmea) == "reserved");
  CHECK(validity(16, 0xFFFE, nmea) == "error");
  CHECK(validity(16, 0xFFFF, nmea) == "not-available");
  CHECK(validity(32, 0xFFFFFFFE, nmea) == "error");
  CHECK(validity(2, 2, nmea) == "error");
  CHECK(validity(3, 7, nmea) == "not-available");
  CHECK(validity(4, 14, nmea) == "error");
  CHECK(validity(5, 30, nmea) == "valid");
  CHECK(validity(5, 31, nmea) == "not-available");
  CHECK(validity(16, 0x7FFF, nmea, true) == "not-available");
  CHECK(validity(16, 0x7FFE, nmea, true) == "error");
  CHECK(validity(16, 0x7FFD, nmea, true) == "reserved");
  CHECK(validity(16, 0x7FFC, nmea, true) == "valid");
  CHECK(validity(16, 0xFFFF, nmea, true) == "valid");
  CHECK(validity(16, 0x8000, nmea, true) == "valid");
  CHECK(validity(8, 0x7E, nmea, true) == "error");
  CHECK(validity(8, 0x7D, nmea, true) == "valid");
  CHECK(validity(24, 0x7FFFFE, nmea, true) == "error");
  CHECK(validity(64, 0x7FFFFFFFFFFFFFFF, nmea, true) == "not-available");
  CHECK(validity(64, 0x7FFFFFFFFFFFFFFE, nmea, true) == "error");
  CHECK(validity(64, 0x7FFFFFFFFFFFFFFD, nmea, true) == "valid");
}

TEST_CASE("the rule may be told, and identifiers that are no PGN have none") {
  Options options;
  options.message_attribute = "Rule \"nmea2000\"";
  CHECK(validity(16, 0xFE00, options) == "valid");
  options.message_attribute = "Rule \"none\"";
  CHECK(validity(16, 0xFFFF, options) == "valid");
  options.id = kNmea;
  options.message_attribute = "Rule \"iso11783\"";
  CHECK(validity(16, 0xFE00, options) == "error");
  options = {};
  options.message_attribute = "VFrameFormat \"ExtendedCAN\"";
  CHECK(validity(16, 0xFFFF, options) == "valid");
  options = {};
  options.id = "100";
  CHECK(validity(16, 0xFFFF, options) == "valid");
}

TEST_CASE("all codes of a full-range integer are valid") {
  Options options;
  options.attribute = "Codes \"all-valid\"";
  CHECK(validity(8, 0xFF, options) == "valid");
  options.limits = "0|250";
  CHECK(validity(8, 0xFF, options) == "out-of-range");
  options.codes = "255 \"not available\"";
  CHECK(validity(8, 0xFF, options) == "not-available");
  CHECK(validity(8, 0xFE, options) == "out-of-range");
}

TEST_CASE("in commands the last code but one of two bits is reserved") {
  Options options;
  options.attribute = "Purpose \"command\"";
  CHECK(validity(2, 2, options) == "reserved");
  CHECK(validity(2, 3, options) == "not-available");
  CHECK(validity(16, 0xFE00, options) == "error");
  CHECK(validity_words(Validity::not_available, true) == "not requested");
  CHECK(validity_words(Validity::not_available, false) == "not available");
}

TEST_CASE("characters") {
  Options options;
  options.unit = "ASCII";
  CHECK(validity(8, 0, options) == "error");
  CHECK(validity(8, 'e', options) == "valid");
  CHECK(validity(8, 0xFE, options) == "valid");
  CHECK(validity(8, 0xFF, options) == "not-available");
  CHECK(validity(16, 0, options) == "error");
  CHECK(validity(16, 0x2044, options) == "valid");
  CHECK(validity(16, 0xFF44, options) == "valid");
  CHECK(validity(16, 0xFFFF, options) == "not-available");
}

TEST_CASE("the name of a code decides") {
  using enum Validity;
  for (const char* text : {"not available", "Not Available", "NOT AVAILABLE or not installed", "no action",
                           "Take No Action", "take no action (keep)", "not requested"})
    CHECK(validity_by_name(text) == not_available);
  for (const char* text : {"error", "Error indicator", "ERROR", "fault", "Fault", "fault, not recoverable",
                           "non-recoverable fault"})
    CHECK(validity_by_name(text) == error);
  for (const char* text : {"reserved", "Reserved for SAE", "not defined", "Not defined yet"})
    CHECK(validity_by_name(text) == reserved);
  for (const char* text : {"", "off", "caution", "fault present", "faults", "not", "no", "unavailable",
                           "function fault", "an error", "notavailable", "not active"})
    CHECK(validity_by_name(text) == valid);
}

TEST_CASE("named codes win over the rule, nameless ones follow it") {
  Options options;
  options.codes = "0 \"off\" 1 \"on\" 2 \"caution\"";
  CHECK(validity(2, 2, options) == "valid");
  CHECK(validity(2, 3, options) == "not-available");
  const Schema schema = schema_of(2, false, options);
  REQUIRE(read(schema, 2).text != nullptr);
  CHECK(*read(schema, 2).text == "caution");
  CHECK(read(schema, 3).text == nullptr);
  CHECK(format_number(read(schema, 2).value) == "2");
  // Names stay with codes that are no values.
  options.codes = "3 \"not available\" 2 \"error\"";
  CHECK(*read(schema_of(2, false, options), 2).text == "error");
  CHECK_FALSE(read(schema_of(2, false, options), 2).has_value());
  // One bit is always a value.
  options.codes = "0 \"reserved\" 1 \"error\"";
  CHECK(validity(1, 1, options) == "valid");
  CHECK(*read(schema_of(1, false, options), 1).text == "error");
}

TEST_CASE("a table of states has no states beside the named ones") {
  Options options;
  options.codes = "0 \"ddmmyyyy\" 1 \"ddyyyymm\" 255 \"not available\"";
  CHECK(validity(8, 1, options) == "valid");
  CHECK(validity(8, 2, options) == "reserved");
  CHECK(validity(8, 0xFE, options) == "error");
  // A number with a few special codes keeps its numbers.
  options.codes = "0 \"no limit\" 255 \"not available\"";
  CHECK(validity(8, 2, options) == "valid");
  options.codes = "0 \"off\" 1 \"on\" 255 \"not available\"";
  options.message_attribute = "Rule \"none\"";
  CHECK(validity(8, 2, options) == "valid");
}

TEST_CASE("names of wide and signed codes") {
  Options options;
  options.codes = "-2 \"reverse\" 7 \"forward\" -1 \"not available\"";
  const Schema narrow = schema_of(8, true, options);
  CHECK(*read(narrow, 0xFE).text == "reverse");
  CHECK(format_number(read(narrow, 0xFE).value) == "-2");
  CHECK(read(narrow, 0xFF).validity == Validity::not_available);
  CHECK(read(narrow, 7).text != nullptr);
  CHECK(read(narrow, 8).text == nullptr);
  const Schema wide = schema_of(16, true, options);
  CHECK(*read(wide, 0xFFFE).text == "reverse");
  CHECK(read(wide, 0xFFFF).validity == Validity::not_available);
  CHECK(*read(wide, 7).text == "forward");
  CHECK(read(wide, 8).text == nullptr);
  CHECK(format_number(read(wide, 8).value) == "8");
  options.codes = "65279 \"sensor lost\" 1000 \"reserved\"";
  const Schema numbers = schema_of(16, false, options);
  CHECK(read(numbers, 0xFEFF).validity == Validity::valid);
  CHECK(*read(numbers, 0xFEFF).text == "sensor lost");
  CHECK(read(numbers, 1000).validity == Validity::reserved);
  CHECK(read(numbers, 0xFF00).validity == Validity::not_available);
  CHECK(read(numbers, 1001).validity == Validity::valid);
}

TEST_CASE("words for validities are all there") {
  using enum Validity;
  std::vector<std::string_view> codes;
  for (const Validity each : {valid, not_available, error, reserved, out_of_range, cut_off}) {
    codes.push_back(validity_code(each));
    CHECK_FALSE(validity_words(each, false).empty());
  }
  CHECK(codes == std::vector<std::string_view>{"valid", "not-available", "error", "reserved", "out-of-range",
                                               "cut-off"});
}
