// JSON Lines: one object a row, UTF-8, every line ends in LF.
#include "base/utf8.hpp"
#include "io/table_writer.hpp"
#include "io/text_table.hpp"

namespace tramlog {
namespace {

/// With the quotation marks; bytes that are no UTF-8 become U+FFFD, so that every line is valid JSON.
std::string json_text(std::string_view text) {
  constexpr char kHex[] = "0123456789abcdef";
  std::string out = "\"";
  for (std::size_t at = 0; at < text.size();) {
    const CodePoint point = decode_utf8(text, at);
    if (!point.valid) {
      out += "\xEF\xBF\xBD";
    } else if (point.value == '"' || point.value == '\\') {
      out += '\\';
      out += static_cast<char>(point.value);
    } else if (point.value < 0x20) {
      out += "\\u00";
      out += kHex[point.value >> 4];
      out += kHex[point.value & 15];
    } else {
      out += text.substr(at, point.length);
    }
    at += point.length;
  }
  return out + '"';
}

class JsonLinesTable final : public TextTable {
 public:
  using TextTable::TextTable;

 private:
  void begin() override {
    for (const Column& column : columns_) keys_.push_back(json_text(heading(column)) + ":");
  }

  void write_row(std::span<const Cell> cells) override {
    char before = '{';
    for (std::size_t i = 0; i < cells.size(); ++i) {
      const Cell& cell = cells[i];
      if (cell.kind == Cell::Kind::absent) continue;
      out_.append({&before, 1});
      before = ',';
      out_.append(keys_[i]);
      switch (cell.kind) {
        case Cell::Kind::absent:
        case Cell::Kind::null:
          out_.append("null");
          break;
        case Cell::Kind::time:
          out_.append("\"");
          put_time(cell.integer);
          out_.append("\"");
          break;
        case Cell::Kind::integer:
          put_integer(cell.integer);
          break;
        case Cell::Kind::number:
          if (is_finite(cell.number))
            put_number(cell.number);
          else
            out_.append("null");
          break;
        case Cell::Kind::text:
          out_.append(json_text(cell.text));
          break;
      }
    }
    out_.append(before == '{' ? "{}\n" : "}\n");
  }

  std::vector<std::string> keys_;
};

}  // namespace

Result<std::unique_ptr<TableWriter>> make_json_lines_writer(const std::string& path) {
  auto file = OutputFile::create(path);
  if (!file) return file.error();
  return std::unique_ptr<TableWriter>(new JsonLinesTable(std::move(*file)));
}

}  // namespace tramlog
