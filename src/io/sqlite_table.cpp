// An SQLite database, written in one transaction beside its place.
#include <fcntl.h>
#include <fmt/format.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <iterator>
#include <optional>
#include <utility>
#include <vector>

#include "base/text.hpp"
#include "io/output_file.hpp"
#include "io/unfinished.hpp"
#include "io/table_writer.hpp"

namespace tramlog {
namespace {

// A database's first 100 bytes: the magic words, and at 68 the application's number, big-endian.
constexpr std::string_view kMagic{"SQLite format 3\0", 16};
constexpr std::size_t kHeaderBytes = 100, kApplicationIdPlace = 68;

constexpr std::size_t kMostViewWords = 256;  // of one column; SQLite takes 1000 or so in one expression

/// A name as SQL takes it: in double quotes.
std::string identifier(std::string_view name) {
  std::string out = "\"";
  for (const char c : name) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + '"';
}

/// The rest of a line of SQL that tells about a column.
std::string remark(std::string_view unit, std::string_view comment) {
  std::string text(unit);
  if (!unit.empty() && !comment.empty()) text += "; ";
  text += comment;
  return text.empty() ? "" : "  -- " + printable_utf8(text);
}

std::string_view type_name(Column::Type type) {
  switch (type) {
    case Column::Type::real:
      return "REAL";
    case Column::Type::text:
      return "TEXT";
    case Column::Type::time:
    case Column::Type::integer:
      break;
  }
  return "INTEGER";
}

std::string create_statement(const Table& table) {
  std::string sql = "CREATE TABLE " + identifier(table.name) + " (" + remark("", table.comment);
  for (std::size_t i = 0; i < table.columns.size(); ++i) {
    const Column& column = table.columns[i];
    sql += fmt::format("\n  {} {}{}{}", identifier(column.name), type_name(column.type),
                       i + 1 < table.columns.size() ? "," : "", remark(column.unit, column.comment));
  }
  return sql + "\n)";
}

/// A number as its word, or as it is if there is none.
std::string words_expression(const std::string& name, const std::vector<ValueWord>& words) {
  std::string sql = "CASE " + name;
  for (const ValueWord& known : words) {
    std::string text;
    for (const char c : known.word) text += c == '\'' ? std::string("''") : std::string(1, c);
    sql += fmt::format(" WHEN {} THEN '{}'", known.value, text);
  }
  return sql + fmt::format(" ELSE {0} END AS {0}", name);
}

/// Times to the millisecond in UTC, numbers that have words as those.
std::string view_statement(const Table& table) {
  std::string sql = "CREATE VIEW " + identifier(table.view) + " AS SELECT";
  for (std::size_t i = 0; i < table.columns.size(); ++i) {
    const std::string name = identifier(table.columns[i].name);
    sql += i > 0 ? ",\n  " : "\n  ";
    // Whole milliseconds and seconds apart: a double holds no nanoseconds since 1970.
    if (table.columns[i].type == Column::Type::time)
      sql += fmt::format(
          "strftime('%Y-%m-%dT%H:%M:%S', {0} / 1000000000, 'unixepoch') || "
          "printf('.%03dZ', {0} / 1000000 % 1000) AS \"time\"",
          name);
    else if (!table.columns[i].words.empty() && table.columns[i].words.size() <= kMostViewWords)
      sql += words_expression(name, table.columns[i].words);
    else
      sql += name;
  }
  return sql + "\nFROM " + identifier(table.name);
}

/// Correctly rounded like Number::to_double(), but without text for all usual numbers: both parts are exact.
double as_double(const Number& number) {
  static constexpr double kTens[] = {1,   1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                     1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
  if (number.kind != Number::Kind::exact || number.decimals >= std::size(kTens) ||
      number.magnitude >> 53 != 0)
    return number.to_double();
  const double value = static_cast<double>(number.magnitude) / kTens[number.decimals];
  return number.negative ? -value : value;
}

class SqliteTables final : public TableWriter {
 public:
  SqliteTables(std::string path, std::string part) : path_(std::move(path)), part_(std::move(part)) {}
  ~SqliteTables() override {
    close();
    if (!part_.empty()) remove_unfinished(part_);
  }
  SqliteTables(const SqliteTables&) = delete;
  SqliteTables& operator=(const SqliteTables&) = delete;

  void open() {
    // A name like "file:x" is a name here, not an address.
    const std::string name = part_.front() == '/' ? part_ : "./" + part_;
    check(sqlite3_open_v2(name.c_str(), &database_, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, nullptr));
    run(
        fmt::format("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA locking_mode = EXCLUSIVE;"
                    "PRAGMA page_size = 8192; PRAGMA cache_size = -16384; PRAGMA encoding = 'UTF-8';"
                    "PRAGMA application_id = {}; PRAGMA user_version = {}; BEGIN",
                    kDatabaseApplicationId, kDatabaseVersion));
  }

  TableId add_table(Table table) override {
    run(create_statement(table));
    std::string insert = "INSERT INTO " + identifier(table.name) + " VALUES (";
    for (std::size_t i = 0; i < table.columns.size(); ++i) insert += i > 0 ? ",?" : "?";
    Open open{nullptr, {}};
    if (!failed())
      check(sqlite3_prepare_v3(database_, (insert + ")").c_str(), -1, SQLITE_PREPARE_PERSISTENT, &open.insert,
                               nullptr));
    for (const Column& column : table.columns) {
      open.types.push_back(column.type);
      if (column.indexed)
        at_the_end_.push_back(fmt::format("CREATE INDEX {} ON {} ({})",
                                          identifier(table.name + " by " + column.name),
                                          identifier(table.name), identifier(column.name)));
    }
    if (!table.view.empty()) at_the_end_.push_back(view_statement(table));
    tables_.push_back(std::move(open));
    return tables_.size() - 1;
  }

  void row(TableId table, std::span<const Cell> cells) override {
    if (failed() || table >= tables_.size()) return;
    const Open& open = tables_[table];
    const std::size_t count = open.types.size();
    for (std::size_t i = 0; i < count; ++i)
      bind(open.insert, static_cast<int>(i) + 1, open.types[i], i < cells.size() ? cells[i] : Cell{});
    if (sqlite3_step(open.insert) != SQLITE_DONE) keep_error();
    sqlite3_reset(open.insert);
  }

  bool failed() const override { return !error_.empty(); }

  Result<bool> finish() override {
    for (const std::string& sql : at_the_end_) run(sql);
    run("COMMIT");
    close();
    if (failed())
      return Error{ErrorKind::environment, "cannot write the database (" + error_ + ")", path_,
                   "free some space or write elsewhere"};
    return put_in_place(std::exchange(part_, ""), path_);
  }

 private:
  struct Open {
    sqlite3_stmt* insert;
    std::vector<Column::Type> types;
  };

  /// Text of a number for a column of texts: every digit.
  static void bind_digits(sqlite3_stmt* insert, int place, const Number& number) {
    char text[kNumberChars];
    const auto size = static_cast<std::uint64_t>(write_number(text, number) - text);
    sqlite3_bind_text64(insert, place, text, size, SQLITE_TRANSIENT, SQLITE_UTF8);
  }

  static void bind(sqlite3_stmt* insert, int place, Column::Type type, const Cell& cell) {
    switch (cell.kind) {
      case Cell::Kind::absent:
      case Cell::Kind::null:
        sqlite3_bind_null(insert, place);
        break;
      case Cell::Kind::time:
      case Cell::Kind::integer:
        sqlite3_bind_int64(insert, place, cell.integer);
        break;
      case Cell::Kind::number: {
        const Number& number = cell.number;
        if (!is_finite(number)) {
          sqlite3_bind_null(insert, place);
        } else if (type == Column::Type::text) {
          bind_digits(insert, place, number);
        } else if (type != Column::Type::real && number.kind == Number::Kind::exact && number.decimals == 0 &&
                   number.magnitude <= INT64_MAX) {
          const auto value = static_cast<std::int64_t>(number.magnitude);
          sqlite3_bind_int64(insert, place, number.negative ? -value : value);
        } else {
          sqlite3_bind_double(insert, place, as_double(number));
        }
        break;
      }
      case Cell::Kind::text:
        // The text outlives the step that follows, and the next row binds anew.
        sqlite3_bind_text64(insert, place, cell.text.data() == nullptr ? "" : cell.text.data(),
                            cell.text.size(), SQLITE_STATIC, SQLITE_UTF8);
        break;
    }
  }

  void run(const std::string& sql) {
    if (!failed()) check(sqlite3_exec(database_, sql.c_str(), nullptr, nullptr, nullptr));
  }
  void check(int code) {
    if (code != SQLITE_OK) keep_error();
  }
  void keep_error() {
    if (!error_.empty()) return;
    const int system = sqlite3_system_errno(database_);
    error_ = sqlite3_errmsg(database_);
    if (system != 0) error_ += std::string(", ") + std::strerror(system);
  }
  void close() {
    for (Open& open : tables_) sqlite3_finalize(std::exchange(open.insert, nullptr));
    // Freeing what the database holds can write no more: everything is committed or lost.
    sqlite3_close(std::exchange(database_, nullptr));
  }

  std::string path_, part_;
  sqlite3* database_ = nullptr;
  std::vector<Open> tables_;
  std::vector<std::string> at_the_end_;  // SQL; an index is made faster after the rows
  std::string error_;
};

/// What stands in the way of a database at this place.
std::optional<Error> obstacle(const std::string& path) {
  struct stat status {};
  if (path.empty() || path == "-")
    return Error{ErrorKind::usage, "a database cannot be written to standard output", "sqlite",
                 "name a file with -o"};
  if (::stat(path.c_str(), &status) != 0) return std::nullopt;
  if (!S_ISREG(status.st_mode))
    return Error{ErrorKind::usage, "a database must be an ordinary file", path, "name another file"};
  if (status.st_size > 0) {
    char begin[kHeaderBytes]{};
    const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    const ssize_t got = fd < 0 ? -1 : ::read(fd, begin, sizeof begin);
    if (fd >= 0) ::close(fd);
    if (got < 0)
      return Error{ErrorKind::environment, "cannot read the file that is there", path,
                   "check its permissions or name another file"};
    const std::string_view header(begin, static_cast<std::size_t>(got));
    if (!header.starts_with(kMagic))
      return Error{ErrorKind::usage, "this file is no SQLite database and would be overwritten", path,
                   "name another file, or remove it first"};
    std::uint32_t application = 0;
    for (std::size_t i = 0; i < 4; ++i)
      application = application << 8 | static_cast<unsigned char>(begin[kApplicationIdPlace + i]);
    if (header.size() < kHeaderBytes || application != std::uint32_t{kDatabaseApplicationId})
      return Error{ErrorKind::usage, "this database is not of tramlog and would be overwritten", path,
                   "name another file, or remove it first"};
  }
  // What belongs to the old database would be taken for a part of the new one.
  for (const char* companion : {"-wal", "-journal"})
    if (::stat((path + companion).c_str(), &status) == 0)
      return Error{ErrorKind::usage, "the database that is there is open or was not closed well", path,
                   "close the program that uses it, or name another file"};
  return std::nullopt;
}

}  // namespace

Result<std::unique_ptr<TableWriter>> make_sqlite_writer(const std::string& path) {
  if (auto error = obstacle(path)) return *error;
  // SQLite would add to what a broken export left, and tells less about a folder that is not there.
  Outlet out = open_outlet(path, 0666);
  if (out.fd >= 0) ::close(out.fd);
  if (out.fd < 0 || out.part.empty())
    return Error{
        ErrorKind::environment,
        std::string("cannot create the file (") + std::strerror(out.fd < 0 ? out.error : EINVAL) + ")", path,
        "check the folder and its permissions"};
  auto writer = std::make_unique<SqliteTables>(out.path, out.part);
  writer->open();
  return std::unique_ptr<TableWriter>(std::move(writer));
}

}  // namespace tramlog
