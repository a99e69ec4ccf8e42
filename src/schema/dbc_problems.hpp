// How the DBC reader and the checks after it tell problems.
#pragma once

#include <string>
#include <string_view>

#include "schema/dbc_file.hpp"

namespace tramlog {

/// Counts what is beyond kMaxSchemaProblems.
void add_problem(DbcFile& file, SchemaProblem::Severity severity, std::uint32_t line, std::uint32_t column,
                 std::string subject, std::string text, std::string remedy);
/// Whether another problem would be kept: else nobody needs to write its text, and count_problem() is enough.
bool has_room_for_problem(const DbcFile& file);
/// Counts a problem that is not kept.
void count_problem(DbcFile& file, SchemaProblem::Severity severity);
/// By line and column, as SchemaProblem wants them; keeps the order of equals.
void sort_problems(DbcFile& file);

/// A piece of the file for a problem's text: safe to print, cut to kMaxDbcQuoted bytes.
std::string quoted_piece(std::string_view text);
/// "0x18FEF100", "0x7E8".
std::string dbc_id_text(std::uint32_t id, bool extended);
/// "Message" or "Message.Signal"; a message without a name by its identifier.
std::string dbc_subject(const DbcMessage& message, std::string_view signal = {});
/// An integer as Decimal has it, without trailing zeros.
Decimal decimal_of(std::int64_t value);

}  // namespace tramlog
