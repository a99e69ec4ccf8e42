// Comma-separated values, RFC 4180.
#include "io/table_writer.hpp"
#include "io/text_table.hpp"

namespace tramlog {
namespace {

/// A spreadsheet takes such a text for a formula, which may start programs; the text can come from a bus.
bool looks_like_formula(std::string_view text) {
  if (text.empty()) return false;
  if (text.front() == '=' || text.front() == '@') return true;
  return (text.front() == '+' || text.front() == '-') && text.find_first_of("(|!=") != std::string_view::npos;
}

class CsvTable final : public TextTable {
 public:
  using TextTable::TextTable;

 private:
  void begin() override {
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      if (i > 0) out_.append(",");
      put_text(heading(columns_[i]));
    }
    out_.append("\r\n");
  }

  void write_row(std::span<const Cell> cells) override {
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      if (i > 0) out_.append(",");
      if (i >= cells.size()) continue;
      const Cell& cell = cells[i];
      switch (cell.kind) {
        case Cell::Kind::absent:
        case Cell::Kind::null:
          break;
        case Cell::Kind::time:
          put_time(cell.integer);
          break;
        case Cell::Kind::integer:
          put_integer(cell.integer);
          break;
        case Cell::Kind::number:
          if (is_finite(cell.number)) put_number(cell.number);
          break;
        case Cell::Kind::text:
          put_text(cell.text);
          break;
      }
    }
    out_.append("\r\n");
  }

  void put_text(std::string_view text) {
    constexpr char kHex[] = "0123456789abcdef";
    const bool quote = text.find_first_of("\",\r\n") != std::string_view::npos ||
                       (!text.empty() && (text.front() == ' ' || text.back() == ' '));
    if (quote) out_.append("\"");
    if (looks_like_formula(text)) {
      const auto sign = static_cast<unsigned char>(text.front());
      const char escape[] = {'\\', 'x', kHex[sign >> 4], kHex[sign & 15]};
      out_.append({escape, sizeof escape});
      text.remove_prefix(1);
    }
    while (quote) {
      const std::size_t mark = text.find('"');
      if (mark == std::string_view::npos) break;
      out_.append(text.substr(0, mark + 1));
      out_.append("\"");
      text.remove_prefix(mark + 1);
    }
    out_.append(text);
    if (quote) out_.append("\"");
  }
};

}  // namespace

Result<std::unique_ptr<TableWriter>> make_csv_writer(const std::string& path) {
  auto file = OutputFile::create(path);
  if (!file) return file.error();
  return std::unique_ptr<TableWriter>(new CsvTable(std::move(*file)));
}

}  // namespace tramlog
