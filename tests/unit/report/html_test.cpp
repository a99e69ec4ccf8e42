// No text, whatever bytes it has, can leave the place in the page where it was put.
#include <catch2/catch.hpp>
#include <string>

#include "report/html/html_page.hpp"

using namespace tramlog;

TEST_CASE("Text is escaped for content and for quoted attributes") {
  CHECK(Html("a & b < c > d \" e ' f").code() == "a &amp; b &lt; c &gt; d &quot; e &#39; f");
  CHECK(html_element("p", {{"title", "\" onclick=\"x"}}, "</p><script>").code() ==
        "<p title=\"&quot; onclick=&quot;x\">&lt;/p&gt;&lt;script&gt;</p>");
  CHECK(Html("S\xC3\xA4maschine").code() == "S\xC3\xA4maschine");
  CHECK(Html("&amp;").code() == "&amp;amp;");
}

TEST_CASE("No byte of a hostile text comes through as control character or as broken UTF-8") {
  std::string all;
  for (int c = 0; c < 256; ++c) all += static_cast<char>(c);
  all += "\xE2\x80\xAE turned \xEF\xBB\xBF";  // right-to-left override, byte order mark
  for (const char c : Html(all).code()) {
    const auto byte = static_cast<unsigned char>(c);
    CHECK((byte >= 0x20 && byte < 0x7F));
    CHECK((c != '<' && c != '>' && c != '"' && c != '\''));
  }
}

TEST_CASE("Links lead within the pages or nowhere") {
  CHECK(html_link("#findings", "see").code() == "<a href=\"#findings\">see</a>");
  CHECK(html_link("2026-04-07.html#f1", "day").code() == "<a href=\"2026-04-07.html#f1\">day</a>");
  for (const char* bad :
       {"javascript:alert(1)", "JaVaScRiPt:x", "https://host.example/", "//host/", "\\\\host\\x", "",
        " javascript:x", "java\tscript:x", "data:text/html,x", "a/..\\..\\x"})
    CHECK(html_link(bad, "see").code() == "see");
}

TEST_CASE("A badge has its tone as class and its word as text") {
  CHECK(html_badge(Tone::trouble, "LOST").code() == "<span class=\"b trouble\">LOST</span>");
  CHECK(html_badge(Tone::doubt, "<b>").code() == "<span class=\"b doubt\">&lt;b&gt;</span>");
}

TEST_CASE("Lists, facts and tables without content are nothing") {
  CHECK(html_list({}).empty());
  CHECK(html_list({Html(), Html("")}).empty());
  CHECK(html_list({"a", "b"}, true).code() == "<ol><li>a</li><li>b</li></ol>");
  CHECK(html_facts({}).empty());
  CHECK(HtmlTable("empty", {"a"}).html().empty());
}

TEST_CASE("A row has one cell a column, however many are given") {
  HtmlTable table("numbers", {"what", "value", "unit"});
  table.row({"load", "42", "%", "too many"});
  table.row({"rate"});
  const std::string code = table.html().code();
  CHECK(code.find("too many") == std::string::npos);
  std::size_t cells = 0;
  for (std::size_t at = 0; (at = code.find("<td", at)) != std::string::npos; ++at) ++cells;
  CHECK(cells == 4);
  CHECK(code.find("data-l=\"value\">42</td>") != std::string::npos);
  CHECK(table.rows() == 2);
}

TEST_CASE(
    "A page is one file: policy before anything else, title and sections in place, nothing from outside") {
  HtmlPage page("Comparison", "Larkfield <9 m>");
  page.head("under the title");
  page.section("first", "First & last");
  page.paragraph("words");
  page.section("second", "Second");
  const std::string file = page.take();
  CHECK(file.rfind("<!DOCTYPE html>", 0) == 0);
  CHECK(file.find("<title>Larkfield &lt;9 m&gt;: Comparison</title>") != std::string::npos);
  CHECK(file.find("<h1>Larkfield &lt;9 m&gt;</h1>\nunder the title\n</header>\n<main>") != std::string::npos);
  CHECK(file.find("<h2 id=\"h-first\">First &amp; last</h2>\n<p>words</p>\n</section>") != std::string::npos);
  CHECK(file.find("Content-Security-Policy") < file.find("<style>"));
  CHECK(file.find("default-src 'none'") != std::string::npos);
  CHECK(file.find("http://") == std::string::npos);
  CHECK(file.find("https://") == std::string::npos);
  CHECK(file.find("@import") == std::string::npos);
  CHECK(file.find("src=") == std::string::npos);
}
