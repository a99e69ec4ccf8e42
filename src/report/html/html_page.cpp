#include "report/html/html_page.hpp"

namespace tramlog {

HtmlPage::HtmlPage(const Html& kind, const Html& title) {
  out_ =
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
      "script-src '";
  out_ += kHtmlScriptHash;
  out_ +=
      "'; base-uri 'none'; form-action 'none'\">\n<meta name=\"referrer\" content=\"no-referrer\">\n"
      "<meta name=\"color-scheme\" content=\"light dark\">\n";
  out_ += html_element("title", title.empty() ? kind : title + Html(": ") + kind).code();
  out_ += "\n<style>";
  out_ += kHtmlStyle;
  out_ += "</style>\n</head>\n<body>\n<header>\n";
  // Without a title of its own the kind of page is the heading.
  if (!title.empty()) out_ += html_element("p", {{"class", "kind"}}, kind).code() + '\n';
  out_ += html_element("h1", title.empty() ? kind : title).code() + '\n';
}

void HtmlPage::end_part() {
  if (in_section_) out_ += "</section>\n";
  if (in_head_) out_ += "</header>\n<main>\n";
  in_section_ = in_head_ = false;
}

void HtmlPage::head(const Html& inside) {
  if (in_head_) out_ += inside.code() + '\n';
}

void HtmlPage::section(std::string_view place, const Html& heading) {
  end_part();
  in_section_ = true;
  const Html name(place);
  out_ += "<section id=\"" + name.code() + "\" aria-labelledby=\"h-" + name.code() + "\">\n";
  out_ += html_element("h2", {{"id", Html("h-") + name}}, heading).code() + '\n';
}

void HtmlPage::add(const Html& inside) {
  out_ += inside.code();
  if (!inside.empty()) out_ += '\n';
}

std::string HtmlPage::take() {
  end_part();
  out_ += "</main>\n<script>";
  out_ += kHtmlScript;
  out_ += "</script>\n</body>\n</html>\n";
  return std::move(out_);
}

}  // namespace tramlog
