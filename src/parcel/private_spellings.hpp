// Serials however they are spelled: signs and blanks between their characters, upper and lower case do not
// count.
#pragma once

#include <bitset>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace tramlog {

class PrivateSpellings {
 public:
  static constexpr std::size_t kShortest = 5;   // characters that count; fewer are in any text by chance
  static constexpr std::size_t kMostSigns = 3;  // in a row; more end a word

  /// What counts of a serial: without `-`, `.`, `/`, `_` and blanks, in lower case.
  static std::string squeezed(std::string_view serial);

  /// Searched from now on, if it is long enough. `telling`: not a word like others (PrivateTerms).
  void add(std::string_view serial, bool telling);
  /// What stands in for it: its closing characters, as many as there are to replace. It holds none of the
  /// signs.
  void stand_in(std::string_view serial, std::string_view made);

  bool contains(std::string_view text) const;
  /// Replaces the characters in place, signs stay. Words, if `also_words`, only where they stand alone.
  bool replace(std::span<std::uint8_t> text, bool also_words) const;

 private:
  struct Spelling {
    std::string from, to;
    bool telling;
  };
  struct Word {  // a stretch of text without a long gap
    std::string characters;
    std::vector<std::size_t> places;
  };
  const Spelling* fitting(const Word& word, std::size_t at, bool also_words,
                          std::span<const std::uint8_t> text) const;
  bool replace_in(const Word& word, std::span<std::uint8_t> text, bool also_words) const;

  std::vector<Spelling> spellings_;
  std::unordered_map<std::string, std::size_t> by_whole_;
  std::unordered_map<std::string, std::vector<std::size_t>> by_begin_;  // kShortest characters; longest first
  std::bitset<65536> begins_;                                           // first two characters
};

}  // namespace tramlog
