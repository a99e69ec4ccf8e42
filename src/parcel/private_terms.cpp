#include "parcel/private_terms.hpp"

#include <algorithm>
#include <cctype>

#include "base/text.hpp"

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
    while (identities_.contains(next) && next < kIdentityMask) ++next;
    stand_in = next;
    if (next < kIdentityMask) ++next;
  }
  for (auto& [name, stand_in_name] : names_) {
    stand_in_name = stand_in(Name(name)).raw();
    stand_in_names_.insert(stand_in_name);
    add_pattern(claim_bytes(name), claim_bytes(stand_in_name));
  }

  for (const std::string& label : labels_)
    for (const auto& [serial, ignored] : serials_)
      if (serial.find(label) != std::string::npos) {
        serials_.emplace(label, "");
        break;
      }
  std::uint64_t number = 0;
  for (auto& [serial, stand_in] : serials_) {
    constexpr unsigned kTries = 40000;  // of one or two places all may be taken: then two share one
    for (unsigned i = 0; i < kTries; ++i) {
      stand_in = counted_text(++number, serial.size());
      if (!serials_.contains(stand_in) && !stand_in_serials_.contains(stand_in)) break;
    }
    stand_in_serials_.insert(stand_in);
    if (serial.size() < kShortestSearched) continue;
    add_pattern(bytes_of(serial), bytes_of(stand_in));
    // Some count the bytes of a label from its other end.
    if (labels_.contains(serial)) {
      std::string from(serial.rbegin(), serial.rend()), to(stand_in.rbegin(), stand_in.rend());
      add_pattern(bytes_of(from), bytes_of(to));
    }
  }
}

void PrivateTerms::add_pattern(std::vector<std::uint8_t> from, std::vector<std::uint8_t> to) {
  const unsigned pair = pair_of(from.data());
  begins_.set(pair);
  std::vector<std::size_t>& list = by_pair_[pair];
  const auto place = std::find_if(list.begin(), list.end(),
                                  [&](std::size_t i) { return patterns_[i].from.size() < from.size(); });
  list.insert(place, patterns_.size());
  patterns_.push_back({std::move(from), std::move(to)});
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

bool PrivateTerms::replace_within(std::span<std::uint8_t> bytes) const {
  bool changed = false;
  for (std::size_t at = 0; at + 1 < bytes.size();) {
    std::size_t step = 1;
    if (const unsigned pair = pair_of(bytes.data() + at); begins_.test(pair)) {
      for (const std::size_t i : by_pair_.find(pair)->second) {
        const Pattern& pattern = patterns_[i];
        if (pattern.from.size() > bytes.size() - at ||
            !std::equal(pattern.from.begin(), pattern.from.end(),
                        bytes.begin() + static_cast<std::ptrdiff_t>(at)))
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

std::string PrivateTerms::replaced_text(std::string text) const {
  replace_within({reinterpret_cast<std::uint8_t*>(text.data()), text.size()});
  for (std::size_t at = 0; at + 16 <= text.size(); ++at) {
    if (std::isxdigit(static_cast<unsigned char>(text[at])) == 0) continue;
    const auto name = Name::from_hex(std::string_view(text).substr(at, 16));
    if (!name || !names_.contains(name->raw())) continue;
    text.replace(at, 16, stand_in(*name).hex());
    at += 15;
  }
  return text;
}

}  // namespace tramlog
