// matches_glob(). The pattern is taken apart once; matching goes back only to the latest star, which is
// enough because an earlier star can do nothing that the latest one cannot.
#include "base/text.hpp"
#include "base/utf8.hpp"

namespace tramlog {
namespace {

/// One element of a pattern. A set lies in `characters` as first, last, first, last, ..
struct Element {
  enum Kind { one, any, star, set } kind = one;
  char32_t character = 0;
  bool negated = false;
  std::size_t begin = 0, end = 0;
};

/// Invalid bytes become values that no valid text has, so that they equal only themselves.
std::u32string code_points(std::string_view text) {
  std::u32string out;
  out.reserve(text.size());
  for (std::size_t at = 0; at < text.size();) {
    const CodePoint c = decode_utf8(text, at);
    out.push_back(c.valid ? c.value : 0xDC00 + c.value);
    at += c.length;
  }
  return out;
}

struct Pattern {
  std::vector<Element> elements;
  std::u32string characters;

  explicit Pattern(std::string_view source) {
    const std::u32string text = code_points(source);
    elements.reserve(text.size());
    bool sets_end = true;  // false: no ']' is left, so every further '[' is an ordinary character
    for (std::size_t at = 0; at < text.size(); ++at) {
      if (text[at] == '*') {
        elements.push_back({Element::star});
      } else if (text[at] == '?') {
        elements.push_back({Element::any});
      } else if (text[at] == '[' && sets_end) {
        const std::size_t begin = at + 1 < text.size() && text[at + 1] == '!' ? at + 2 : at + 1;
        const std::size_t end = text.find(U']', begin + 1);  // a ']' that comes first is a member
        sets_end = end != std::u32string::npos;
        if (sets_end) {
          add_set(text, begin, end, begin == at + 2);
          at = end;
        } else {
          elements.push_back({Element::one, text[at]});
        }
      } else {
        elements.push_back({Element::one, text[at]});
      }
    }
  }

  bool matches(const Element& element, char32_t c) const {
    if (element.kind == Element::one) return element.character == c;
    if (element.kind != Element::set) return element.kind == Element::any;
    bool inside = false;
    for (std::size_t i = element.begin; i < element.end; i += 2)
      inside = inside || (c >= characters[i] && c <= characters[i + 1]);
    return inside != element.negated;
  }

 private:
  void add_set(const std::u32string& text, std::size_t begin, std::size_t end, bool negated) {
    Element element{Element::set, 0, negated, characters.size(), 0};
    for (std::size_t i = begin; i < end; ++i) {
      const bool range = i + 2 < end && text[i + 1] == '-';
      characters.push_back(text[i]);
      if (range) i += 2;
      characters.push_back(text[i]);
    }
    element.end = characters.size();
    elements.push_back(element);
  }
};

}  // namespace

bool matches_glob(std::string_view pattern, std::string_view text) {
  const Pattern p(pattern);
  const std::u32string t = code_points(text);
  constexpr std::size_t kNone = static_cast<std::size_t>(-1);
  std::size_t element = 0, at = 0;
  std::size_t star = kNone, star_at = 0;
  while (at < t.size()) {
    if (element < p.elements.size() && p.elements[element].kind == Element::star) {
      star = element++;
      star_at = at;
    } else if (element < p.elements.size() && p.matches(p.elements[element], t[at])) {
      ++element;
      ++at;
    } else if (star != kNone) {
      element = star + 1;
      at = ++star_at;
    } else {
      return false;
    }
  }
  while (element < p.elements.size() && p.elements[element].kind == Element::star) ++element;
  return element == p.elements.size();
}

}  // namespace tramlog
