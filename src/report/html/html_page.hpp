// One self-contained page: style and script within, no outside links, readable without the script, on a
// phone, on paper and in the dark.
#pragma once

#include <string>
#include <string_view>

#include "report/html/html.hpp"

namespace tramlog {

class HtmlPage {
 public:
  /// `title` stands in the window's frame and as the first heading; `kind` in small letters above it ("Bus
  /// report").
  HtmlPage(const Html& kind, const Html& title);

  /// What stands under the title, before the first section.
  void head(const Html& inside);
  /// Begins a section with a heading; `place` is its name for links ("findings": html_link("#findings", ..)),
  /// unique in the page, letters and dashes.
  void section(std::string_view place, const Html& heading);
  /// Into the section that was begun last.
  void add(const Html& inside);
  void paragraph(const Html& text) { add(html_element("p", text)); }

  /// The whole file. Call it once, last.
  std::string take();

 private:
  void end_part();

  std::string out_;
  bool in_section_ = false, in_head_ = true;
};

/// The style of all pages, and the script (zoom of the time axis; what is pointed at in words). Its
/// Content-Security-Policy word is the base64 of its SHA-256.
extern const char* const kHtmlStyle;
extern const char* const kHtmlScript;
extern const char* const kHtmlScriptHash;

}  // namespace tramlog
