#include "parcel/private_terms.hpp"

#include <algorithm>
#include <cctype>

#include "base/text.hpp"
#include "parcel/private_numbers.hpp"

namespace tramlog {
namespace {

constexpr std::uint32_t kIdentityMask = 0x1FFFFF;
constexpr std::uint64_t kNobodysName = ~std::uint64_t{0};

std::string text_of(Bytes bytes) {
  return {bytes.begin(), bytes.end()};
}
std::vector<std::uint8_t> bytes_of(std::string_view text) {
  return {text.begin(), text.end()};
}

std::vector<std::uint8_t> claim_bytes(std::uint64_t name) {
  std::vector<std::uint8_t> bytes(8);
  for (unsigned i = 0; i < 8; ++i) bytes[i] = static_cast<std::uint8_t>(name >> (8 * i));
  return bytes;
}

/// Words that makers put where no serial is known, without blanks and signs.
constexpr std::string_view kFillers[] = {
    "unknown",      "none",      "null",          "nil",         "na",          "nn",      "default",
    "serial",       "serialno",  "serialnumber",  "noserial",    "nonumber",    "number",  "sn",
    "undefined",    "unset",     "notset",        "unspecified", "invalid",     "empty",   "blank",
    "test",         "dummy",     "sample",        "example",     "tbd",         "todo",    "available",
    "notavailable", "missing",   "controller",    "ecu",         "controlunit", "unit",    "device",
    "module",       "implement", "tractor",       "terminal",    "machine",     "product", "noserialnumber",
    "prototype",    "proto",     "notprogrammed", "notused",     "reserved",    "virtual"};

/// Something that says "no serial", as good in one unit as in the next: zeros, question marks, X again and
/// again, "unknown".
bool says_nothing(const std::string& serial) {
  std::string core;
  for (const char c : ascii_lower(serial)) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x80 || (std::ispunct(byte) == 0 && byte != ' ')) core += c;
  }
  if (core.empty() || std::find(std::begin(kFillers), std::end(kFillers), core) != std::end(kFillers))
    return true;
  return (core.front() == '0' || core.front() == 'x' ||
          std::iscntrl(static_cast<unsigned char>(core.front())) != 0) &&
         std::all_of(core.begin(), core.end(), [&](char c) { return c == core.front(); });
}

std::uint8_t lower(std::uint8_t c) {
  return c >= 'A' && c <= 'Z' ? static_cast<std::uint8_t>(c + ('a' - 'A')) : c;
}
std::uint8_t upper(std::uint8_t c) {
  return c >= 'a' && c <= 'z' ? static_cast<std::uint8_t>(c - ('a' - 'A')) : c;
}

bool is_digit(char c) {
  return std::isdigit(static_cast<unsigned char>(c)) != 0;
}

/// `number` in `digits` places: decimal, base 36 where that is not enough.
std::string counted_text(std::uint64_t number, std::size_t places) {
  std::string text(places, '0');
  std::uint64_t most = 1;
  for (std::size_t i = 0; i < places && most <= number; ++i) most *= 10;
  const unsigned base = most > number ? 10 : 36;
  for (std::size_t i = places; i-- > 0 && number > 0; number /= base)
    text[i] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[number % base];
  return text;
}

}  // namespace

Bytes PrivateTerms::core_of(Bytes field) {
  const auto is_padding = [](std::uint8_t c) {
    return c == 0x00 || c == 0xFF || c == ' ' || c == '\t' || c == '\r' || c == '\n';
  };
  while (!field.empty() && is_padding(field.back())) field = field.first(field.size() - 1);
  while (!field.empty() && is_padding(field.front())) field = field.subspan(1);
  return field;
}

bool PrivateTerms::learn_identity(std::uint32_t identity) {
  if (identity == 0 || identities_.contains(identity)) return true;
  if (identities_.size() >= kMaxTerms) return false;
  identities_.emplace(identity, 0);
  return true;
}

bool PrivateTerms::learn_name(Name name) {
  // Identity number 0 says that there is none: such a NAME is that of any unit of its kind.
  if (name.raw() == kNobodysName || name.identity_number() == 0 || names_.contains(name.raw())) return true;
  if (names_.size() >= kMaxTerms || !learn_identity(name.identity_number())) return false;
  names_.emplace(name.raw(), 0);
  return true;
}

bool PrivateTerms::is_telling_text(const std::string& serial) {
  return serial.size() >= kShortestSearched && std::any_of(serial.begin(), serial.end(), is_digit);
}

bool PrivateTerms::learn_serial(Bytes field) {
  const std::string serial = text_of(core_of(field));
  if (serial.empty() || says_nothing(serial) || serials_.contains(serial)) return true;
  if (serials_.size() >= kMaxTerms) return false;
  serials_.emplace(serial, "");
  return true;
}

void PrivateTerms::learn_label(Bytes label) {
  const std::string text = text_of(core_of(label));
  if (text.size() >= kShortestSearched && labels_.size() < kMaxTerms) labels_.insert(text);
}

void PrivateTerms::settle() {
  std::uint32_t next = 1;
  for (auto& [identity, stand_in] : identities_) {
    while (reads_as_identity(next, identities_) && next < kIdentityMask) ++next;
    stand_in = next;
    if (next < kIdentityMask) ++next;
  }
  for (auto& [name, stand_in_name] : names_) {
    stand_in_name = stand_in(Name(name)).raw();
    stand_in_names_.insert(stand_in_name);
    add_pattern({claim_bytes(name), claim_bytes(stand_in_name)});
  }

  for (const std::string& label : labels_)
    for (const auto& [serial, ignored] : serials_)
      if (serial.find(label) != std::string::npos) {
        serials_.emplace(label, "");
        break;
      }
  for (const auto& [serial, ignored] : serials_) spellings_.add(serial, is_telling_text(serial));
  std::uint64_t number = 0;
  std::size_t tries_left = 1'000'000;  // for all: hostile serials may leave no room for any
  for (auto& [serial, stand_in] : serials_) {
    constexpr unsigned kTries = 40000;  // of one or two places all may be taken: then two share one
    for (unsigned i = 0; i == 0 || (i < kTries && tries_left > 0); ++i, tries_left -= tries_left > 0) {
      // Nor is it an identity number: that would be replaced once more.
      while (reads_as_identity(++number, identities_)) {
      }
      stand_in = counted_text(number, serial.size());
      if (!serials_.contains(stand_in) && !stand_in_serials_.contains(stand_in) &&
          !spellings_.contains(stand_in))
        break;
    }
    stand_in_serials_.insert(stand_in);
    spellings_.stand_in(serial, stand_in);
    if (serial.size() < kShortestSearched) continue;
    const bool telling = is_telling_text(serial);
    std::string from = ascii_lower(serial);
    searched_.insert(from);
    add_pattern({bytes_of(from), bytes_of(stand_in), true, telling});
    // Some count the bytes of a label from its other end.
    if (labels_.contains(serial)) {
      std::reverse(from.begin(), from.end());
      add_pattern({bytes_of(from), {stand_in.rbegin(), stand_in.rend()}, true, telling});
    }
  }
}

bool PrivateTerms::Pattern::fits(const std::uint8_t* at) const {
  if (!text) return std::equal(from.begin(), from.end(), at);
  return std::equal(from.begin(), from.end(), at,
                    [](std::uint8_t a, std::uint8_t b) { return a == lower(b); });
}

void PrivateTerms::add_pattern(Pattern pattern) {
  const std::uint8_t first = pattern.from[0], second = pattern.from[1];
  std::set<unsigned> pairs;
  for (const std::uint8_t a : {first, pattern.text ? upper(first) : first})
    for (const std::uint8_t b : {second, pattern.text ? upper(second) : second}) {
      const std::uint8_t pair[] = {a, b};
      pairs.insert(pair_of(pair));
    }
  for (const unsigned pair : pairs) {
    begins_.set(pair);
    std::vector<std::size_t>& list = by_pair_[pair];
    const auto place = std::find_if(list.begin(), list.end(), [&](std::size_t i) {
      return patterns_[i].from.size() < pattern.from.size();
    });
    list.insert(place, patterns_.size());
  }
  patterns_.push_back(std::move(pattern));
}

std::size_t PrivateTerms::begun_at_end(Bytes bytes) const {
  constexpr std::size_t kMost = 200;  // bytes of a serial's field
  const std::string end = ascii_lower(text_of(bytes.last(std::min(bytes.size(), kMost))));
  for (std::size_t at = 0; at + kShortestHalf <= end.size(); ++at) {
    const std::string half = end.substr(at);
    const auto serial = searched_.lower_bound(half);
    if (serial != searched_.end() && serial->size() > half.size() && serial->starts_with(half))
      return half.size();
  }
  return 0;
}

std::uint32_t PrivateTerms::stand_in(std::uint32_t identity) const {
  const auto found = identities_.find(identity);
  return found == identities_.end() ? 0 : found->second;
}

Name PrivateTerms::stand_in(Name name) const {
  if (name.raw() == kNobodysName) return name;
  return Name((name.raw() & ~std::uint64_t{kIdentityMask}) | stand_in(name.identity_number()));
}

void PrivateTerms::replace_field(std::span<std::uint8_t> field) const {
  const Bytes core = core_of(field);
  if (core.empty()) return;
  const std::string serial = text_of(core);
  if (says_nothing(serial)) return;
  const auto found = serials_.find(serial);
  std::uint8_t* at = field.data() + (core.data() - field.data());
  if (found == serials_.end())
    std::fill_n(at, core.size(), std::uint8_t{'?'});
  else
    std::copy(found->second.begin(), found->second.end(), at);
}

bool PrivateTerms::replace_patterns(std::span<std::uint8_t> bytes, bool also_words) const {
  bool changed = false;
  for (std::size_t at = 0; at + 1 < bytes.size();) {
    std::size_t step = 1;
    if (const unsigned pair = pair_of(bytes.data() + at); begins_.test(pair)) {
      for (const std::size_t i : by_pair_.find(pair)->second) {
        const Pattern& pattern = patterns_[i];
        if (pattern.from.size() > bytes.size() - at || !(also_words || pattern.telling) ||
            !pattern.fits(bytes.data() + at))
          continue;
        std::copy(pattern.to.begin(), pattern.to.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at));
        step = pattern.from.size();
        changed = true;
        break;
      }
    }
    at += step;
  }
  return changed;
}

bool PrivateTerms::replace_within(std::span<std::uint8_t> bytes) const {
  return replace_patterns(bytes, true);
}

bool PrivateTerms::replace_names_in_hex(std::span<std::uint8_t> text) const {
  constexpr std::size_t kDigits = 16;
  bool changed = false;
  for (std::size_t at = 0; at + kDigits <= text.size(); ++at) {
    if (std::isxdigit(text[at]) == 0) continue;
    const auto name = Name::from_hex({reinterpret_cast<const char*>(text.data()) + at, kDigits});
    if (!name || !names_.contains(name->raw())) continue;
    const std::string made = stand_in(*name).hex();
    std::copy(made.begin(), made.end(), text.begin() + static_cast<std::ptrdiff_t>(at));
    at += kDigits - 1;
    changed = true;
  }
  return changed;
}

bool PrivateTerms::replace_in(std::span<std::uint8_t> text, bool also_words) const {
  constexpr int kMostTimes = 4;  // what was put in may make one of the rest with what stands beside it
  bool changed = false;
  for (int i = 0; i < kMostTimes; ++i) {
    bool again = replace_patterns(text, also_words);
    again = replace_names_in_hex(text) || again;
    again = replace_identity_numbers(text, identities_) || again;
    again = spellings_.replace(text, also_words) || again;
    if (!again) break;
    changed = true;
  }
  return changed;
}

bool PrivateTerms::replace_in_text(std::span<std::uint8_t> text) const {
  return replace_in(text, true);
}

std::string PrivateTerms::replaced_text(std::string text) const {
  replace_in({reinterpret_cast<std::uint8_t*>(text.data()), text.size()}, false);
  return text;
}

}  // namespace tramlog
