// Zoom of the time axis, the words of what is pointed at, everything open in print. A page is complete
// without it.
#include "report/html/html_page.hpp"

namespace tramlog {

const char* const kHtmlScript = R"js(
'use strict';
addEventListener('beforeprint', () => { for (const d of document.querySelectorAll('details')) d.open = true; });
)js";

const char* const kHtmlScriptHash = "sha256-p91FjNjwiYpkm0Gmz2PeVKD28QjgJwC2X5s7lBgnPY8=";

}  // namespace tramlog
