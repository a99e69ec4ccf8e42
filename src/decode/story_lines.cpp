#include "decode/story_lines.hpp"

#include <algorithm>
#include <vector>

#include "base/text.hpp"

namespace tramlog {

std::size_t columns_of_utf8(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

std::string shown_text(std::string_view text, bool unicode) {
  std::string safe = printable_utf8(text);
  return unicode ? safe : as_ascii(safe);
}

void StoryLines::line(std::string_view text) {
  text_ += text;
  text_ += '\n';
}

void StoryLines::wrapped_text(std::string_view text, unsigned indent, unsigned hang) {
  if (indent + columns(text) <= width_ && text.find('\n') == std::string_view::npos) {
    text_.append(indent, ' ');
    line(text);
    return;
  }
  text_.append(indent, ' ');
  column_ = indent;
  const unsigned margin = indent + hang;
  const std::size_t room = width_ > margin + 20 ? width_ - margin : 20;
  bool first = true;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t stop = std::min(text.find_first_of(" \n", at), text.size());
    const std::string_view word = text.substr(at, stop - at);
    at = stop + 1;
    if (word.empty()) continue;
    if (!first && column_ + 1 + columns(word) > width_) {
      new_line(margin);
    } else if (!first) {
      text_ += ' ';
      ++column_;
    }
    first = false;
    if (column_ + columns(word) <= width_) {
      text_ += word;
      column_ += columns(word);
      continue;
    }
    // A word longer than a line.
    const std::vector<std::string> pieces = wrapped(word, room);
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      if (i > 0 || column_ > margin) new_line(margin);
      text_ += pieces[i];
      column_ += columns(pieces[i]);
    }
  }
  text_ += '\n';
}

void StoryLines::begin_paragraph(unsigned indent) {
  begin_paragraph(indent, {});
}

void StoryLines::begin_paragraph(unsigned indent, std::string_view lead) {
  indent_ = indent;
  any_item_ = false;
  text_.append(indent, ' ');
  text_ += lead;
  column_ = indent + columns(lead);
}

void StoryLines::new_line(unsigned indent) {
  text_ += '\n';
  text_.append(indent, ' ');
  column_ = indent;
}

void StoryLines::item(std::string_view text) {
  const bool at_margin = column_ == indent_;
  std::size_t wide = columns(text);
  if (any_item_) {
    text_ += ',';
    ++column_;
  }
  if (!at_margin) {
    if (column_ + 2 + wide > width_) {
      new_line(indent_ + (any_item_ ? 0 : 2));
    } else {
      text_ += ' ';
      ++column_;
    }
  }
  any_item_ = true;
  if (column_ + wide + 1 <= width_) {
    text_ += text;
    column_ += wide;
    return;
  }
  // Longer than a line: broken at its blanks.
  const std::size_t room = width_ > indent_ + 22 ? width_ - indent_ - 2 : 20;
  bool first = true;
  for (const std::string& part : wrapped(text, room)) {
    if (!first) new_line(indent_ + 2);
    text_ += part;
    column_ += columns(part);
    first = false;
  }
}

void StoryLines::end_paragraph() {
  text_ += '\n';
}

void StoryLines::flush() {
  out_.append(text_);
  text_.clear();
}

}  // namespace tramlog
