#include "schema/csv_lines.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "base/utf8.hpp"

namespace tramlog {

CsvLines::CsvLines(std::string_view text) : text_(text) {
  if (text_.starts_with("\xEF\xBB\xBF")) text_.remove_prefix(3);
}

bool CsvLines::at_line_end() const {
  return at_ >= text_.size() || text_[at_] == '\n' || text_[at_] == '\r';
}

void CsvLines::skip_line_end() {
  if (at_ < text_.size() && text_[at_] == '\r') ++at_;
  if (at_ < text_.size() && text_[at_] == '\n') ++at_;
  ++next_line_;
}

void CsvLines::take_field() {
  std::size_t begin = at_;
  while (begin < text_.size() && (text_[begin] == ' ' || text_[begin] == '\t')) ++begin;
  if (begin >= text_.size() || text_[begin] != '"') {
    const std::size_t end = std::min(text_.find_first_of(",\r\n", at_), text_.size());
    fields_.emplace_back(trimmed(text_.substr(at_, end - at_)));
    at_ = end;
    return;
  }
  std::string& field = fields_.emplace_back();
  for (at_ = begin + 1;; ++at_) {
    if (at_ >= text_.size()) {
      bad_quotes_ = true;
      return;
    }
    const char c = text_[at_];
    if (c == '"') {
      ++at_;
      if (at_ >= text_.size() || text_[at_] != '"') break;
    } else if (c == '\n') {
      ++next_line_;
    }
    field += c;
  }
  const std::size_t end = std::min(text_.find_first_of(",\r\n", at_), text_.size());
  if (!trimmed(text_.substr(at_, end - at_)).empty()) bad_quotes_ = true;
  at_ = end;
}

bool CsvLines::next() {
  while (at_ < text_.size()) {
    const std::size_t end = std::min(text_.find_first_of("\r\n", at_), text_.size());
    const std::string_view line = trimmed(text_.substr(at_, end - at_));
    if (line.empty() || line.front() == '#') {
      at_ = end;
      skip_line_end();
      continue;
    }
    line_ = next_line_;
    bad_quotes_ = false;
    fields_.clear();
    take_field();
    while (!at_line_end()) {
      ++at_;  // the comma
      take_field();
    }
    skip_line_end();
    for (std::string& field : fields_)
      if (!is_utf8(field)) field = utf8_or_latin1(field);
    return true;
  }
  return false;
}

std::vector<std::string> csv_header(std::string_view text) {
  CsvLines lines(text);
  if (!lines.next()) return {};
  std::vector<std::string> header = lines.fields();
  for (std::string& name : header)
    for (char& c : name)
      if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return header;
}

std::string csv_surplus(const std::vector<std::string>& fields, std::size_t columns) {
  std::size_t count = fields.size();
  while (count > columns && fields[count - 1].empty()) --count;
  if (count <= columns) return {};
  return fmt::format("the line has {} fields, but the first line names {} columns", count, columns);
}

int column_of(const std::vector<std::string>& header, std::string_view name) {
  const auto found = std::find(header.begin(), header.end(), name);
  return found == header.end() ? -1 : static_cast<int>(found - header.begin());
}

}  // namespace tramlog
