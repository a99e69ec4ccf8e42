#include "schema/search.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "base/text.hpp"

namespace tramlog {
namespace {

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}
std::string lowered(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(), lower);
  return out;
}
/// The word somewhere in the text; with * or ? in it, a pattern for the whole of it.
bool occurs(const std::string& needle, std::string_view text) {
  if (needle.find_first_of("*?") != std::string::npos) return matches_glob(needle, lowered(text));
  return std::search(text.begin(), text.end(), needle.begin(), needle.end(),
                     [](char a, char b) { return lower(a) == b; }) != text.end();
}

std::optional<std::uint32_t> number_of(std::string_view text) {
  int base = 10;
  if (text.starts_with("0x") || text.starts_with("0X")) {
    base = 16;
    text.remove_prefix(2);
  }
  std::uint32_t value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (text.empty() || fault != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

struct Term {
  std::optional<std::uint32_t> pgn, spn, ddi, fmi;
  std::string word;  // lower case; empty: numbers only
};

Result<Term> parse_term(const std::string& text) {
  struct Prefix {
    std::string_view name;
    std::uint32_t last;
    std::optional<std::uint32_t> Term::*field;
  };
  static constexpr Prefix kPrefixes[] = {{"pgn:", 0x3FFFF, &Term::pgn},
                                         {"spn:", 0x7FFFF, &Term::spn},
                                         {"ddi:", 0xFFFF, &Term::ddi},
                                         {"fmi:", 31, &Term::fmi}};
  Term term;
  for (const Prefix& prefix : kPrefixes) {
    if (!lowered(text).starts_with(prefix.name)) continue;
    const auto number = number_of(std::string_view(text).substr(prefix.name.size()));
    if (!number || *number > prefix.last)
      return Error{ErrorKind::usage, fmt::format("\"{}\" is no number from 0 to {}", text, prefix.last),
                   "search term", fmt::format("write for example {}{}", prefix.name, prefix.last / 2)};
    term.*prefix.field = number;
    return term;
  }
  if (const auto number = number_of(text)) {
    term.pgn = term.spn = term.ddi = number;
    return term;
  }
  term.word = lowered(text);
  return term;
}

bool word_in(const Term& term, std::initializer_list<std::string_view> texts) {
  return std::any_of(texts.begin(), texts.end(), [&](std::string_view t) { return occurs(term.word, t); });
}

bool matches(const Term& term, const MessageSpec& message) {
  if (!term.word.empty()) return word_in(term, {message.name, message.title, message.comment});
  return term.pgn && (message.exact_only ? message.id : message.pgn) == *term.pgn;
}
bool matches(const Term& term, const SignalSpec& signal) {
  if (term.word.empty()) return term.spn && signal.spn == term.spn;
  return word_in(term, {signal.name, signal.title, signal.comment}) ||
         std::any_of(signal.codes.begin(), signal.codes.end(),
                     [&](const CodeName& code) { return occurs(term.word, code.text); });
}

// Changes of one letter that turn `a` into `b`, whatever their case.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t corner = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = corner + (lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1);
      corner = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, change});
    }
  }
  return row.back();
}

}  // namespace

Result<SchemaHits> search_schema(const Schema& schema, const std::vector<std::string>& texts) {
  std::vector<Term> terms;
  for (const std::string& text : texts) {
    auto term = parse_term(text);
    if (!term) return term.error();
    terms.push_back(std::move(*term));
  }
  const auto all = [&](auto&& matches_one) { return std::all_of(terms.begin(), terms.end(), matches_one); };

  SchemaHits hits;
  const std::vector<const MessageSpec*> messages = schema.messages();
  for (const MessageSpec* message : messages)
    if (terms.size() == 1 && lowered(message->name) == terms[0].word)
      hits.messages.push_back({message, true, {}});
  if (!hits.messages.empty()) return hits;

  for (const MessageSpec* message : messages) {
    MessageHit hit{message, all([&](const Term& term) { return matches(term, *message); }), {}};
    for (const SignalSpec& signal : message->signals) {
      // "hitch position": one word may be the message's, the other the signal's, but not all the message's.
      const bool own =
          std::any_of(terms.begin(), terms.end(), [&](const Term& t) { return matches(t, signal); });
      if (own && all([&](const Term& term) {
            return matches(term, signal) || (!term.word.empty() && matches(term, *message));
          }))
        hit.signals.push_back(&signal);
    }
    if (hit.whole || !hit.signals.empty()) hits.messages.push_back(std::move(hit));
  }
  // Names of their own, not structured bindings: clang 14 does not capture these.
  for (const auto& pair : schema.dictionary().entries) {
    const DictionaryEntry& entry = pair.second;
    if (all([&](const Term& term) {
          return term.word.empty() ? term.ddi && *term.ddi == entry.ddi
                                   : word_in(term, {entry.name, entry.unit});
        }))
      hits.process_data.push_back(&entry);
  }
  for (const auto& pair : schema.trouble_texts().spn)
    if (all([&](const Term& term) {
          return term.word.empty() ? term.spn && *term.spn == pair.first : occurs(term.word, pair.second);
        }))
      hits.spns.push_back(pair);
  for (const auto& pair : schema.trouble_texts().fmi)
    if (all([&](const Term& term) {
          return term.word.empty() ? term.fmi && *term.fmi == pair.first : occurs(term.word, pair.second);
        }))
      hits.fmis.push_back(pair);
  return hits;
}

std::vector<std::string> close_names(std::string_view word, const std::vector<std::string>& candidates,
                                     std::size_t most) {
  constexpr std::size_t kLongestWord = 200;  // the comparison takes the product of both lengths
  constexpr std::size_t kShortestWord = 3;   // everything short is near to everything short
  if (word.size() < kShortestWord || word.size() > kLongestWord) return {};
  const std::string low = lowered(word);
  std::vector<std::pair<std::size_t, std::string>> ranked;
  for (const std::string& name : candidates) {
    if (name.size() > kLongestWord) continue;
    std::size_t rank = distance(word, name);
    if (occurs(low, name)) rank = std::min<std::size_t>(rank, 1 + (name.size() - word.size()) / 8);
    if (rank <= 1 + word.size() / 3) ranked.emplace_back(rank, name);
  }
  std::sort(ranked.begin(), ranked.end());
  ranked.erase(std::unique(ranked.begin(), ranked.end()), ranked.end());
  std::vector<std::string> names;
  for (auto& [rank, name] : ranked) {
    if (names.size() == most) break;
    names.push_back(std::move(name));
  }
  return names;
}

}  // namespace tramlog
