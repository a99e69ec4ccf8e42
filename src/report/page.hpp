// Lays out plain text for a terminal or an e-mail: 78 columns, hanging indents, columns that wrap.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace tramlog {

class Page {
 public:
  static constexpr std::size_t kWidth = 78;

  explicit Page(bool unicode) : unicode_(unicode) {}

  void line(std::string_view text = {});
  /// A heading in capitals after an empty line.
  void heading(std::string_view text);
  /// Wrapped text behind a first-line prefix; further lines are indented to the prefix's width.
  void item(std::string_view prefix, std::string_view text);
  /// One row; each cell wraps within its column's width, the last column takes the rest of the line. The
  /// widths together leave some of the line.
  void row(const std::vector<std::string>& cells, const std::vector<std::size_t>& widths);

  std::string take() { return std::move(out_); }

 private:
  std::string shown(std::string_view text) const;
  void end_line(std::string text);

  bool unicode_;
  std::string out_;
};

}  // namespace tramlog
