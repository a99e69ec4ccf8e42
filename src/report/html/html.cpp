#include "report/html/html.hpp"

#include <cctype>

#include "base/text.hpp"

namespace tramlog {
namespace {

std::string escaped(std::string_view text) {
  const std::string shown = printable_utf8(text);
  std::string out;
  out.reserve(shown.size());
  for (const char c : shown) switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      default:
        out += c;
    }
  return out;
}

// "#finding-1", "day-2026-04-07.html", "a/b.html": nothing that could run or lead elsewhere.
bool leads_within(std::string_view target) {
  if (target.empty() || target[0] == '/' || target[0] == '\\') return false;
  for (const char c : target.substr(0, target.find('#')))
    if (c == ':' || c == '\\' || static_cast<unsigned char>(c) <= ' ') return false;
  return true;
}

}  // namespace

Html::Html(std::string_view text) : code_(escaped(text)) {}

Html Html::markup(std::string code) {
  Html html;
  html.code_ = std::move(code);
  return html;
}

Html html_element(std::string_view tag, HtmlAttributes attributes, const Html& inside) {
  std::string code = "<";
  code += tag;
  for (const auto& [name, value] : attributes) {
    code += ' ';
    code += name;
    code += "=\"" + value.code() + '"';
  }
  code += '>' + inside.code() + "</";
  code += tag;
  code += '>';
  return Html::markup(std::move(code));
}

Html html_badge(Tone tone, const Html& word) {
  constexpr const char* kClasses[] = {"b good", "b notice", "b trouble", "b doubt", "b plain"};
  return html_element("span", {{"class", kClasses[static_cast<int>(tone)]}}, word);
}

Html html_link(std::string_view target, const Html& text) {
  return leads_within(target) ? html_element("a", {{"href", target}}, text) : text;
}

Html html_list(const std::vector<Html>& items, bool numbered) {
  Html all;
  for (const Html& item : items)
    if (!item.empty()) all += html_element("li", item);
  return all.empty() ? all : html_element(numbered ? "ol" : "ul", all);
}

Html html_facts(const std::vector<std::pair<Html, Html>>& facts) {
  Html all;
  for (const auto& [label, value] : facts)
    all += html_element("div", html_element("dt", label) + html_element("dd", value));
  return all.empty() ? all : html_element("dl", all);
}

Html html_details(const Html& summary, const Html& inside) {
  return html_element("details", html_element("summary", summary) + inside);
}

HtmlTable::HtmlTable(Html caption, std::vector<std::string> columns) : caption_(std::move(caption)) {
  for (const std::string& column : columns) columns_.emplace_back(column);
}

void HtmlTable::row(const std::vector<Html>& cells) {
  ++rows_;
  body_ += "<tr role=\"row\">";
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    const Html cell = i < cells.size() ? cells[i] : Html();
    // Roles stand here because a table that is laid out as cards is no table any more to a screen reader. An
    // empty cell needs no label on a phone.
    if (i == 0)
      body_ += "<th scope=\"row\" role=\"rowheader\">" + cell.code() + "</th>";
    else if (cell.empty())
      body_ += "<td role=\"cell\"></td>";
    else
      body_ += "<td role=\"cell\" data-l=\"" + columns_[i].code() + "\">" + cell.code() + "</td>";
  }
  body_ += "</tr>\n";
}

Html HtmlTable::html() const {
  if (empty()) return {};
  Html head;
  for (const Html& column : columns_)
    head += html_element("th", {{"scope", "col"}, {"role", "columnheader"}}, column);
  return html_element(
      "table", {{"role", "table"}},
      html_element("caption", caption_) +
          html_element("thead", {{"role", "rowgroup"}}, html_element("tr", {{"role", "row"}}, head)) +
          html_element("tbody", {{"role", "rowgroup"}}, Html::markup(body_)));
}

}  // namespace tramlog
