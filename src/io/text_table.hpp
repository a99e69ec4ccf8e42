// What the tables written as text share: the output, times and headings.
#pragma once

#include <algorithm>
#include <cstring>
#include <memory>
#include <string>
#include <utility>

#include "base/output_buffer.hpp"
#include "base/table.hpp"
#include "base/time_text.hpp"
#include "io/output_file.hpp"

namespace tramlog {

/// One table into one file.
class TextTable : public TableWriter {
 public:
  explicit TextTable(std::unique_ptr<OutputFile> file)
      : file_(std::move(file)), out_([this](std::string_view bytes) {
          if (!given_up_) file_->write(bytes);
        }) {}
  // Without finish() nobody wants the rest any more.
  ~TextTable() override { given_up_ = true; }

  TableId add_table(Table table) final {
    if (has_table_) {
      second_table_ = true;
      return 1;
    }
    has_table_ = true;
    columns_ = std::move(table.columns);
    begin();
    return 0;
  }
  void row(TableId table, std::span<const Cell> cells) final {
    if (table == 0 && has_table_ && !file_->failed())
      write_row(cells.first(std::min(cells.size(), columns_.size())));
  }
  bool failed() const final { return second_table_ || file_->failed(); }
  Result<bool> finish() final {
    out_.flush();
    if (second_table_)
      return Error{ErrorKind::usage, "this format holds one table only", "second table",
                   "write one table a file, or choose sqlite"};
    return file_->finish();
  }

 protected:
  virtual void begin() = 0;
  virtual void write_row(std::span<const Cell> cells) = 0;

  static std::string heading(const Column& column) {
    return column.unit.empty() ? column.name : column.name + " [" + column.unit + "]";
  }
  void put_time(TimeNs time) { out_.commit(times_.put(out_.room(TimeText::kChars), time)); }
  void put_integer(std::int64_t value);
  void put_number(const Number& number) { out_.commit(write_number(out_.room(kNumberChars), number)); }

  std::unique_ptr<OutputFile> file_;
  bool given_up_ = false;
  OutputBuffer out_;
  std::vector<Column> columns_;

 private:
  TimeText times_;
  bool has_table_ = false;
  bool second_table_ = false;
};

inline void TextTable::put_integer(std::int64_t value) {
  Number number;
  number.negative = value < 0;
  number.magnitude =
      number.negative ? 0 - static_cast<std::uint64_t>(value) : static_cast<std::uint64_t>(value);
  put_number(number);
}

}  // namespace tramlog
