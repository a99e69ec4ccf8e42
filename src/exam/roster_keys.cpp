#include "exam/roster_keys.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kLongestKey = 40;  // longer ones are no typing error of ours

/// Edits (insert, delete, replace one character) that turn `a` into `b`.
std::size_t edits_between(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, replaced});
    }
  }
  return row[b.size()];
}

/// Nothing if no known key looks like it.
std::string_view nearest_key(std::string_view key, std::span<const std::string_view> known) {
  std::string_view best;
  std::size_t best_edits = std::max<std::size_t>(2, key.size() / 3) + 1;
  for (const std::string_view candidate : known) {
    const std::size_t edits = edits_between(key, candidate);
    if (edits < best_edits) {
      best = candidate;
      best_edits = edits;
    }
  }
  if (!best.empty() || key.size() < 4) return best;
  for (const std::string_view candidate : known)  // "manufacturer", "instance", "controllers_of_cart"
    if (candidate.find(key) != std::string_view::npos || key.find(candidate) != std::string_view::npos)
      return candidate;
  return {};
}

}  // namespace

std::string unknown_key_remedy(std::string_view key, std::span<const std::string_view> known) {
  if (key.size() <= kLongestKey) {
    const std::string lower = ascii_lower(key);
    if (lower.find("address") != std::string::npos && lower.find("self") == std::string::npos)
      return "match by fields of the NAME: an address is given out anew with every claim";
    const std::string_view near = nearest_key(lower, known);
    if (!near.empty()) return fmt::format("did you mean `{}`?", near);
  }
  std::string list;
  for (const std::string_view candidate : known)
    list += fmt::format("{}{}", list.empty() ? "" : ", ", candidate);
  return "use one of: " + list;
}

}  // namespace tramlog
