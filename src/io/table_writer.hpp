// Tables written as CSV, JSON Lines or an SQLite database.
#pragma once

#include <memory>
#include <string>

#include "base/result.hpp"
#include "base/table.hpp"

namespace tramlog {

/// All: an ordinary file is written beside its place and renamed at the end, so that a broken export never
/// looks whole. Errors: environment (folder, permission, disk full, reader gone).

/// RFC 4180, UTF-8 without a mark, lines end in CR LF. Header: "name" or "name [unit]". Times are RFC 3339 in
/// UTC; absent and null cells are empty. A text that a spreadsheet would run as a formula gets its first sign
/// as "\x3d". `path` empty or "-": standard output. Buffers 256 KiB.
Result<std::unique_ptr<TableWriter>> make_csv_writer(const std::string& path);

/// One object a line, keys as in the header of CSV; absent cells are left out.
Result<std::unique_ptr<TableWriter>> make_json_lines_writer(const std::string& path);

/// One transaction; times are integers (ns since 1970), comments and units stand in the CREATE TABLE texts.
/// Numbers in a column of texts are written with all their digits. An existing file is replaced only if it is
/// a database that this wrote (application_id) and nobody has open, or empty, else a usage error; so is a
/// path that is no ordinary file. Buffers 16 MiB.
Result<std::unique_ptr<TableWriter>> make_sqlite_writer(const std::string& path);

inline constexpr std::int32_t kDatabaseApplicationId = 0x54524D4C;  // "TRML"
inline constexpr std::int32_t kDatabaseVersion = 1;  // user_version; grows if the layout changes
/// Columns that a table of a database may have (SQLite's default is 2000).
inline constexpr std::size_t kMaxDatabaseColumns = 2000;

}  // namespace tramlog
