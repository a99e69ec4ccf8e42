#include "parcel/private_spellings.hpp"

#include <algorithm>
#include <cctype>

#include "base/text.hpp"

namespace tramlog {
namespace {

bool is_sign(char c) {
  return c == '-' || c == '.' || c == '/' || c == '_' || c == ' ';
}

bool is_word(std::uint8_t c) {
  return std::isalnum(c) != 0;
}

std::size_t pair_of(const std::string& text, std::size_t at) {
  return static_cast<std::size_t>(static_cast<unsigned char>(text[at])) << 8 |
         static_cast<unsigned char>(text[at + 1]);
}

}  // namespace

std::string PrivateSpellings::squeezed(std::string_view serial) {
  std::string text = ascii_lower(std::string(serial));
  std::erase_if(text, is_sign);
  return text;
}

void PrivateSpellings::add(std::string_view serial, bool telling) {
  std::string from = squeezed(serial);
  if (from.size() < kShortest || by_whole_.contains(from)) return;
  const std::size_t index = spellings_.size();
  by_whole_.emplace(from, index);
  begins_.set(pair_of(from, 0));
  std::vector<std::size_t>& list = by_begin_[from.substr(0, kShortest)];
  const auto place = std::find_if(list.begin(), list.end(),
                                  [&](std::size_t i) { return spellings_[i].from.size() < from.size(); });
  list.insert(place, index);
  std::string to(from.size(), '?');
  spellings_.push_back({std::move(from), std::move(to), telling});
}

void PrivateSpellings::stand_in(std::string_view serial, std::string_view made) {
  const auto found = by_whole_.find(squeezed(serial));
  if (found == by_whole_.end()) return;
  std::string& to = spellings_[found->second].to;
  to = made.substr(made.size() - std::min(made.size(), to.size()));
}

const PrivateSpellings::Spelling* PrivateSpellings::fitting(const Word& word, std::size_t at, bool also_words,
                                                            std::span<const std::uint8_t> text) const {
  const std::string_view rest = std::string_view(word.characters).substr(at);
  if (rest.size() < kShortest || !begins_.test(pair_of(word.characters, at))) return nullptr;
  const auto list = by_begin_.find(std::string(rest.substr(0, kShortest)));
  if (list == by_begin_.end()) return nullptr;
  for (const std::size_t i : list->second) {
    const Spelling& spelling = spellings_[i];
    if (!rest.starts_with(spelling.from)) continue;
    if (spelling.telling) return &spelling;
    const std::size_t first = word.places[at], last = word.places[at + spelling.from.size() - 1];
    if (also_words && (first == 0 || !is_word(text[first - 1])) &&
        (last + 1 == text.size() || !is_word(text[last + 1])))
      return &spelling;
  }
  return nullptr;
}

bool PrivateSpellings::replace_in(const Word& word, std::span<std::uint8_t> text, bool also_words) const {
  bool changed = false;
  for (std::size_t at = 0; at < word.characters.size();) {
    const Spelling* const spelling = fitting(word, at, also_words, text);
    if (spelling == nullptr) {
      ++at;
      continue;
    }
    for (const char c : spelling->to) text[word.places[at++]] = static_cast<std::uint8_t>(c);
    changed = true;
  }
  return changed;
}

bool PrivateSpellings::replace(std::span<std::uint8_t> text, bool also_words) const {
  if (spellings_.empty()) return false;
  bool changed = false;
  Word word;
  std::size_t signs = 0;
  for (std::size_t at = 0; at < text.size(); ++at) {
    const auto c = static_cast<char>(text[at]);
    if (is_sign(c)) {
      ++signs;
      continue;
    }
    if (signs > kMostSigns) {
      changed = replace_in(word, text, also_words) || changed;
      word = {};
    }
    signs = 0;
    word.characters += c >= 'A' && c <= 'Z' ? static_cast<char>(c + ('a' - 'A')) : c;
    word.places.push_back(at);
  }
  return replace_in(word, text, also_words) || changed;
}

bool PrivateSpellings::contains(std::string_view text) const {
  std::vector<std::uint8_t> copy(text.begin(), text.end());
  return replace(copy, true);
}

}  // namespace tramlog
