// The words that begin a statement of a DBC file, and how such a line looks.
#pragma once

#include <cstdint>
#include <string_view>

namespace tramlog {

enum class DbcKeyword : std::uint8_t {
  none,
  version,
  new_symbols,         // NS_
  bit_timing,          // BS_
  nodes,               // BU_
  message,             // BO_
  signal,              // SG_
  multiplex_ranges,    // SG_MUL_VAL_
  value_type,          // SIG_VALTYPE_
  comment,             // CM_
  values,              // VAL_
  value_table,         // VAL_TABLE_
  attribute_def,       // BA_DEF_
  attribute_default,   // BA_DEF_DEF_
  attribute,           // BA_
  environment,         // EV_
  group,               // SIG_GROUP_
  transmitters,        // BO_TX_BU_
  relation_attribute,  // BA_DEF_REL_, BA_DEF_DEF_REL_, BA_REL_
  skipped,             // known, of no use here
};

DbcKeyword dbc_keyword(std::string_view word);

/// Whether the line that begins at `at` (blanks before the word are allowed) has a keyword and the form of
/// its statement: a line of prose inside a comment that happens to begin with "BO_" does not count.
bool begins_dbc_statement(const char* at, const char* end);

}  // namespace tramlog
