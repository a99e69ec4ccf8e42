#include "schema/dbc_problems.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "base/text.hpp"
#include "schema/dbc_limits.hpp"

namespace tramlog {

bool has_room_for_problem(const DbcFile& file) {
  return file.problems.size() < kMaxSchemaProblems;
}

void count_problem(DbcFile& file, SchemaProblem::Severity severity) {
  ++file.problems_left_out;
  file.problem_count.add(severity);
}

void add_problem(DbcFile& file, SchemaProblem::Severity severity, std::uint32_t line, std::uint32_t column,
                 std::string subject, std::string text, std::string remedy) {
  if (!has_room_for_problem(file)) return count_problem(file, severity);
  file.problem_count.add(severity);
  file.problems.push_back(
      {severity, file.name, line, column, std::move(subject), std::move(text), std::move(remedy)});
}

void sort_problems(DbcFile& file) {
  std::stable_sort(file.problems.begin(), file.problems.end(), [](const auto& a, const auto& b) {
    return std::tie(a.line, a.column) < std::tie(b.line, b.column);
  });
}

std::string quoted_piece(std::string_view text) {
  if (text.size() <= kMaxDbcQuoted) return printable_utf8(text);
  std::size_t length = kMaxDbcQuoted - 3;
  while (length > 0 && (static_cast<unsigned char>(text[length]) & 0xC0) == 0x80) --length;
  return printable_utf8(text.substr(0, length)) + "...";
}

std::string dbc_id_text(std::uint32_t id, bool extended) {
  return extended ? fmt::format("0x{:08X}", id) : fmt::format("0x{:03X}", id);
}

std::string dbc_subject(const DbcMessage& message, std::string_view signal) {
  std::string subject = message.name.empty() ? "message " + dbc_id_text(message.id, message.extended)
                                             : quoted_piece(message.name);
  if (!signal.empty()) subject += "." + quoted_piece(signal);
  return subject;
}

Decimal decimal_of(std::int64_t value) {
  std::int16_t exponent = 0;
  while (value != 0 && value % 10 == 0) {
    value /= 10;
    ++exponent;
  }
  return {value, exponent};
}

}  // namespace tramlog
