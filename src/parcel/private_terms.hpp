// What a private parcel must not tell: identity numbers of NAMEs and serial numbers, each with its stand-in.
// First everything is learned, then settle() gives the stand-ins, then they are asked for.
#pragma once

#include <bitset>
#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.hpp"
#include "isobus/name.hpp"
#include "parcel/private_spellings.hpp"

namespace tramlog {

class PrivateTerms {
 public:
  /// Serials of fewer bytes are replaced only in the fields that are theirs; elsewhere "12" is just a number.
  static constexpr std::size_t kShortestSearched = 5;
  static constexpr std::size_t kMaxTerms = 20000;  // NAMEs, and serials; hostile traffic makes up any number

  // Learning. Each tells false if there was no room: nothing can be promised then.
  bool learn_name(Name name);
  bool learn_identity(std::uint32_t identity);
  /// As it stands on the bus, padding and all; blanks at its ends and closing 00 and FF do not count. Words
  /// that say "none" are not learned and stay.
  bool learn_serial(Bytes field);
  /// A structure label: makers put the serial, or its end, into it. It is a serial if it is part of one.
  void learn_label(Bytes label);

  /// Stand-ins: identity numbers in their order, so that who wins an address stays; serials in the order of
  /// their bytes. A stand-in is never something that was learned.
  void settle();

  // After settle():

  /// Identity 0 (none) and a NAME of ones (nobody) stay; NAMEs with either are not learned.
  std::uint32_t stand_in(std::uint32_t identity) const;
  Name stand_in(Name name) const;
  /// Replaces a serial's field in place, length and padding kept. One that was not learned becomes '?'.
  void replace_field(std::span<std::uint8_t> field) const;
  /// Replaces everything learned wherever it stands in the bytes: eight bytes of a NAME, serials in upper and
  /// lower case. True if something was.
  bool replace_within(std::span<std::uint8_t> bytes) const;
  /// The same for texts from the bus; besides, serials with other signs between their characters
  /// (private_spellings.hpp), NAMEs as hex digits in either case, and identity numbers, decimal and in hex
  /// (private_numbers.hpp).
  bool replace_in_text(std::span<std::uint8_t> text) const;
  /// The same for text that is not from the bus: there a serial without a digit is a word like others.
  std::string replaced_text(std::string text) const;

  /// How many bytes at the end are the begin of a serial whose rest may come in the next transfer: its
  /// longest one, 0 below kShortestHalf. In either case of letters.
  std::size_t begun_at_end(Bytes bytes) const;
  static constexpr std::size_t kShortestHalf = 3;

  /// What was learned and would be a leak: serials that replace_within() searches, and NAMEs.
  const std::map<std::string, std::string>& serials() const { return serials_; }
  const std::map<std::uint64_t, std::uint64_t>& names() const { return names_; }
  const std::map<std::uint32_t, std::uint32_t>& identities() const { return identities_; }
  bool is_stand_in_name(std::uint64_t name) const { return stand_in_names_.contains(name); }
  bool is_stand_in_serial(const std::string& serial) const { return stand_in_serials_.contains(serial); }

  /// A serial's field without padding and blanks.
  static Bytes core_of(Bytes field);
  /// Whether a serial can be told from the words of a text that is not from the bus: it has a digit.
  static bool is_telling_text(const std::string& serial);

 private:
  struct Pattern {
    std::vector<std::uint8_t> from, to;  // texts: `from` in lower case
    bool text = false;
    bool telling = true;  // is_telling_text(), or a NAME
    bool fits(const std::uint8_t* at) const;
  };
  void add_pattern(Pattern pattern);
  bool replace_patterns(std::span<std::uint8_t> bytes, bool also_words) const;
  bool replace_names_in_hex(std::span<std::uint8_t> text) const;
  bool replace_in(std::span<std::uint8_t> text, bool also_words) const;
  static unsigned pair_of(const std::uint8_t* at) { return load_le16(at); }

  std::map<std::uint32_t, std::uint32_t> identities_;
  std::map<std::uint64_t, std::uint64_t> names_;
  std::map<std::string, std::string> serials_;
  std::set<std::string> labels_;
  std::set<std::string> searched_;  // serials of kShortestSearched and more, in lower case
  std::set<std::uint64_t> stand_in_names_;
  std::set<std::string> stand_in_serials_;
  std::vector<Pattern> patterns_;                         // longest first within a pair
  std::map<unsigned, std::vector<std::size_t>> by_pair_;  // of their first two bytes
  std::bitset<65536> begins_;
  PrivateSpellings spellings_;
};

}  // namespace tramlog
