// A DBC file as plain data: what people really write, read with patience. What cannot be understood is a
// problem with its place, never the end of the reading.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/decimal.hpp"
#include "schema/problem.hpp"

namespace tramlog {

enum class ByteOrder : std::uint8_t { little, big };  // DBC @1 (Intel) and @0 (Motorola)
enum class Encoding : std::uint8_t {
  unsigned_integer,
  signed_integer,
  float32,
  float64
};  // SG_ +/-, SIG_VALTYPE_ 1/2

/// One line of a value table (VAL_, or VAL_TABLE_ by name).
struct CodeName {
  std::int64_t code = 0;
  std::string text;
};

struct RawRange {
  std::uint64_t first = 0;
  std::uint64_t last = 0;
};

/// Value of an attribute (BA_); enum attributes are given by their text whether the file writes index or
/// text.
struct AttributeValue {
  std::string name;
  std::string text;               // string and enum
  std::optional<Decimal> number;  // int, hex, float; for enum the index
};

struct DbcSignal {
  std::string name;
  std::string unit;
  std::string comment;           // CM_ SG_
  std::uint32_t start_bit = 0;   // as the file writes it: little = number of the least significant bit; big =
                                 // of the most significant bit, each byte counted from its bit 7 down
  std::uint16_t bit_length = 0;  // 1..64; float32 32, float64 64
  ByteOrder order = ByteOrder::little;
  Encoding encoding = Encoding::unsigned_integer;
  Decimal factor{1, 0};
  Decimal offset{0, 0};
  std::optional<Decimal> minimum;  // physical; none where the file writes [0|0] or a range upside down
  std::optional<Decimal> maximum;
  bool is_multiplexor = false;                  // M or m<n>M
  std::optional<std::uint64_t> multiplex_code;  // m<n>: present if the multiplexor's raw value is n ..
  std::string multiplexor;  // .. of this signal (SG_MUL_VAL_); empty: the message's one plain M
  std::vector<RawRange> multiplex_ranges;  // SG_MUL_VAL_: replaces multiplex_code
  std::vector<CodeName> codes;             // VAL_
  std::vector<AttributeValue> attributes;  // BA_ .. SG_; defaults are not repeated here
  std::uint32_t line = 0;                  // of its SG_
};

struct DbcMessage {
  std::uint32_t id = 0;   // without the flag bit 31
  bool extended = false;  // 29-bit: bit 31 was set
  std::string name;
  std::uint32_t length = 0;  // bytes
  std::string sender;        // node; "" for the placeholder for none
  std::string comment;       // CM_ BO_
  std::vector<DbcSignal> signals;
  std::vector<AttributeValue> attributes;  // BA_ .. BO_
  std::uint32_t line = 0;                  // of its BO_
};

struct AttributeDefinition {
  enum class Of : std::uint8_t { network, node, message, signal, environment };
  enum class Type : std::uint8_t { integer, hex, real, string, enumeration };
  Of of = Of::network;
  std::string name;
  Type type = Type::string;
  std::optional<Decimal> minimum, maximum;      // of integer, hex and real; none where the file writes 0 0
  std::vector<std::string> choices;             // enumeration
  std::optional<AttributeValue> default_value;  // BA_DEF_DEF_
};

struct DbcFile {
  std::string name;                  // as given to parse_dbc()
  std::string version;               // VERSION
  std::string comment;               // CM_ of the network
  std::vector<DbcMessage> messages;  // in the file's order; of equal identifiers check_dbc() keeps the first
  std::vector<AttributeDefinition> definitions;
  std::vector<AttributeValue> attributes;  // of the network
  std::vector<SchemaProblem> problems;     // in the order of the lines; at most kMaxSchemaProblems
  std::uint64_t problems_left_out = 0;
  ProblemCount problem_count;  // of all, left out or not

  /// The value among `own`, else the definition's default, else null.
  const AttributeValue* attribute(const std::vector<AttributeValue>& own, AttributeDefinition::Of of,
                                  std::string_view name) const;
};

inline constexpr std::uint32_t kMaxDbcMessageBytes = 117'440'505;  // ETP: 16,777,215 packets of 7 bytes

/// The whole text of a file, UTF-8 or Latin-1 (strings that are no UTF-8 are taken as Latin-1), with or
/// without BOM, any line ends. Never fails: a text without anything in it gives a problem. `name` is for
/// messages only.
DbcFile parse_dbc(std::string_view text, const std::string& name);

/// Only walks through the tokens and counts them: the yardstick for parse_dbc()'s pace (tests/bench).
std::uint64_t count_dbc_tokens(std::string_view text);

/// Mistakes that are no matter of syntax: signals that overlap (and are present at the same time), that do
/// not fit into the message, equal identifiers or names, multiplexing without a multiplexor or in a circle,
/// codes that do not fit into the bits, ranges that the bits cannot reach, factor 0. Adds to file.problems.
/// Signals outside the message and multiplexing that cannot be decided are errors, and those signals are
/// removed; so are messages whose identifier an earlier one has.
void check_dbc(DbcFile& file);

}  // namespace tramlog
