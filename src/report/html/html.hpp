// HTML that cannot be broken out of: text becomes HTML only by being escaped, and only markup that this
// program wrote itself is taken as it stands.
#pragma once

#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace tramlog {

/// A piece of a page. Any text converts to it and is escaped on the way, fit for content and for quoted
/// attributes: & < > " ' as entities, control and invisible characters and bytes that are no UTF-8 as
/// printable_utf8() spells them.
class Html {
 public:
  Html() = default;
  Html(std::string_view text);  // not explicit: so the easy way is the safe one
  Html(const std::string& text) : Html(std::string_view(text)) {}
  Html(const char* text) : Html(std::string_view(text)) {}
  /// Markup as it stands: only what was written in the program or built of escaped parts.
  static Html markup(std::string code);

  Html& operator+=(const Html& more) {
    code_ += more.code_;
    return *this;
  }
  friend Html operator+(Html a, const Html& b) { return a += b; }
  const std::string& code() const { return code_; }
  bool empty() const { return code_.empty(); }

 private:
  std::string code_;
};

using HtmlAttributes = std::initializer_list<std::pair<std::string_view, Html>>;

/// <tag a="b">inside</tag>; tag and names of attributes are the program's own words.
Html html_element(std::string_view tag, HtmlAttributes attributes, const Html& inside);
inline Html html_element(std::string_view tag, const Html& inside) {
  return html_element(tag, {}, inside);
}

/// How a state word looks. Each differs by its frame, too, so that it is told without colour and in print.
enum class Tone : unsigned char {
  good,     // thin frame: as it should be, cured, better
  notice,   // double frame: to be looked at
  trouble,  // filled: missing, fault, worse
  doubt,    // dashed frame: cannot be told
  plain     // no frame: just a word
};
/// A state word: html_badge(Tone::trouble, "lost").
Html html_badge(Tone tone, const Html& word);
/// <a href="..."> for a relative link or a "#place" of the page; anything with a scheme or a leading '/'
/// stays plain text.
Html html_link(std::string_view target, const Html& text);
/// A bulleted or numbered list; empty items are left out, no items give nothing.
Html html_list(const std::vector<Html>& items, bool numbered = false);
/// Label and value pairs.
Html html_facts(const std::vector<std::pair<Html, Html>>& facts);
/// What opens on a click and is open in print.
Html html_details(const Html& summary, const Html& inside);

/// A table that becomes a list of cards on a phone.
class HtmlTable {
 public:
  /// `caption` names it for those who cannot see it, and stands above it.
  HtmlTable(Html caption, std::vector<std::string> columns);
  /// One cell a column; the first is the row's heading.
  void row(const std::vector<Html>& cells);
  bool empty() const { return rows_ == 0; }
  std::size_t rows() const { return rows_; }
  /// Nothing if it has no rows.
  Html html() const;

 private:
  Html caption_;
  std::vector<Html> columns_;
  std::string body_;
  std::size_t rows_ = 0;
};

}  // namespace tramlog
