// Lines of the text output: a paragraph of items that is wrapped between them, and texts made safe to print.
// Internal to the text output.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

#include "base/output_buffer.hpp"

namespace tramlog {

/// Columns of UTF-8 text: code points.
std::size_t columns_of_utf8(std::string_view text);

/// Safe to print (printable_utf8) and, unless `unicode`, ASCII.
std::string shown_text(std::string_view text, bool unicode);

/// Writes lines into a buffer that keeps its memory from message to message.
class StoryLines {
 public:
  StoryLines(OutputBuffer& out, unsigned width, bool unicode) : out_(out), width_(width), unicode_(unicode) {}

  /// A whole line as it stands.
  void line(std::string_view text);
  /// A text that is broken at blanks; the first line begins with `indent` blanks, later ones with
  /// `indent + hang`.
  void wrapped_text(std::string_view text, unsigned indent, unsigned hang);

  /// Items, separated by ", ", that stay whole as long as they fit into a line. The first one begins a
  /// paragraph, end_paragraph() ends it; a paragraph without items is nothing.
  void begin_paragraph(unsigned indent);
  /// Words before the first item: "not available:".
  void begin_paragraph(unsigned indent, std::string_view lead);
  void item(std::string_view text);
  void end_paragraph();

  bool unicode() const { return unicode_; }
  /// Hands the collected lines on.
  void flush();

 private:
  std::size_t columns(std::string_view text) const { return unicode_ ? columns_of_utf8(text) : text.size(); }
  void new_line(unsigned indent);

  OutputBuffer& out_;
  std::size_t width_;
  bool unicode_;
  std::string text_;
  std::size_t column_ = 0;
  unsigned indent_ = 0;
  bool any_item_ = false;
};

}  // namespace tramlog
