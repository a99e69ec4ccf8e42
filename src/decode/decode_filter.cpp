#include "decode/decode_filter.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <set>

#include "base/text.hpp"
#include "schema/search.hpp"

namespace tramlog {
namespace {

constexpr Pgn kLargestPgn = 0x3FFFF;

/// `pattern` is in lower case. A name that holds a bracket matches itself.
bool fits(const std::string& pattern, std::string_view name) {
  const std::string text = ascii_lower(name);
  return pattern == text || matches_glob(pattern, text);
}

bool looks_like_number(std::string_view text) {
  return !text.empty() && text[0] >= '0' && text[0] <= '9';
}

Error usage(std::string what, std::string option, std::string remedy) {
  return {ErrorKind::usage, std::move(what), std::move(option), std::move(remedy)};
}

/// "did you mean A, B or C?", or what to do if nothing is near.
std::string offer(std::string_view word, const std::vector<std::string>& candidates,
                  const std::string& otherwise) {
  const std::vector<std::string> near = close_names(word, candidates);
  if (near.empty()) return otherwise;
  std::string text = "did you mean ";
  for (std::size_t i = 0; i < near.size(); ++i)
    text += (i == 0 ? "" : i + 1 == near.size() ? " or " : ", ") + fmt::format("\"{}\"", near[i]);
  return text + "?";
}

/// Every term that the standard's functions can give, so that a misspelt one is noticed.
std::vector<std::string> known_terms() {
  constexpr std::uint64_t kGroups = 6, kClasses = 32, kFunctions = 256;
  std::set<std::string> terms;
  for (std::uint64_t group = 0; group < kGroups; ++group)
    for (std::uint64_t device_class = 0; device_class < kClasses; ++device_class)
      for (std::uint64_t function = 0; function < kFunctions; ++function)
        terms.insert(function_term(Name(group << 60 | device_class << 49 | function << 40)));
  terms.insert("unclaimed");
  terms.insert("no address");
  return {terms.begin(), terms.end()};
}

}  // namespace

Result<CompiledFilter> CompiledFilter::make(const DecodeFilter& filter, const Schema& schema,
                                            const std::optional<Roster>& roster) {
  CompiledFilter compiled;
  for (const std::string& bus : filter.buses) compiled.buses_.push_back(ascii_lower(bus));
  for (const std::string& text : filter.controllers)
    if (auto error = compiled.add_controller(text, roster)) return *error;
  if (!filter.messages.empty() || !filter.signals.empty()) {
    const std::vector<const MessageSpec*> known = schema.messages();
    for (const std::string& text : filter.messages)
      if (auto error = compiled.add_message(text, known)) return *error;
    for (const std::string& text : filter.signals)
      if (auto error = compiled.add_signal(text, known)) return *error;
    compiled.sort_signals();
  }
  return compiled;
}

std::optional<Error> CompiledFilter::add_controller(const std::string& text,
                                                    const std::optional<Roster>& roster) {
  by_controller_ = true;
  const bool prefixed = text.size() == 18 && ascii_lower(text).rfind("0x", 0) == 0;
  if (const auto name = Name::from_hex(prefixed ? text.substr(2) : text)) {
    names_.insert(name->raw());
    return std::nullopt;
  }
  if (const auto number = parse_number(text)) {
    if (*number > 0xFF)
      return usage(fmt::format("\"{}\" is no address", text), "--controller",
                   "addresses are 0 to 255; a NAME has 16 hex digits");
    addresses_.insert(*number);
    return std::nullopt;
  }
  const std::string pattern = ascii_lower(text);
  std::vector<std::string> candidates;
  if (roster)
    for (const RosterEntry& entry : roster->entries) candidates.push_back(entry.label);
  const auto known = [&](const std::string& candidate) { return fits(pattern, candidate); };
  // A function without a term is called by its number.
  if (std::none_of(candidates.begin(), candidates.end(), known) && pattern.rfind("function ", 0) != 0) {
    const std::vector<std::string> terms = known_terms();
    if (std::none_of(terms.begin(), terms.end(), known)) {
      candidates.insert(candidates.end(), terms.begin(), terms.end());
      return usage(fmt::format("unknown controller \"{}\"", text), "--controller",
                   offer(text, candidates,
                         "give a label of the roster, a function's term, a NAME in hex or an address"));
    }
  }
  senders_.push_back(pattern);
  return std::nullopt;
}

std::optional<Error> CompiledFilter::add_message(const std::string& text,
                                                 const std::vector<const MessageSpec*>& known) {
  by_message_ = true;
  const std::string number_text = ascii_lower(text).rfind("pgn:", 0) == 0 ? text.substr(4) : text;
  if (number_text.size() < text.size() || looks_like_number(text)) {
    const auto number = parse_number(number_text);
    if (!number || *number > kLargestPgn)
      return usage(fmt::format("\"{}\" is no PGN", text), "--message", "PGNs are 0 to 262143 (0x3FFFF)");
    pgns_.insert(*number);
    return std::nullopt;
  }
  const std::string pattern = ascii_lower(text);
  bool any = false;
  for (const MessageSpec* spec : known)
    if (fits(pattern, spec->name)) {
      messages_.insert(spec);
      any = true;
    }
  if (any) return std::nullopt;
  std::vector<std::string> names;
  for (const MessageSpec* spec : known) names.push_back(spec->name);
  return usage(fmt::format("unknown message \"{}\"", text), "--message",
               offer(text, names, "look it up: tramlog schema WORD; a PGN will do as well"));
}

std::optional<Error> CompiledFilter::add_signal(const std::string& text,
                                                const std::vector<const MessageSpec*>& known) {
  by_signal_ = true;
  const std::string pattern = ascii_lower(text);
  const bool spn = pattern.rfind("spn:", 0) == 0;
  if (spn || pattern.rfind("ddi:", 0) == 0) {
    const auto number = parse_number(std::string_view(pattern).substr(4));
    if (!number || *number > (spn ? 0x7FFFFu : 0xFFFFu))
      return usage(fmt::format("\"{}\" is no {}", text, spn ? "SPN" : "DDI"), "--signal",
                   spn ? "SPNs are 0 to 524287" : "DDIs are 0 to 65535");
    if (!spn) {
      data_entities_.insert(static_cast<std::uint16_t>(*number));
      return std::nullopt;
    }
    bool any = false;
    for (const MessageSpec* spec : known)
      for (const SignalSpec& signal : spec->signals)
        if (signal.spn == *number) {
          signals_[spec].push_back(&signal);
          any = true;
        }
    if (any) return std::nullopt;
    return usage(fmt::format("no message of the schema carries SPN {}", *number), "--signal",
                 "look it up: tramlog schema WORD; or add a DBC file with --schema");
  }
  const bool with_message = pattern.find('.') != std::string::npos;
  bool any = false;
  for (const MessageSpec* spec : known)
    for (const SignalSpec& signal : spec->signals)
      if (fits(pattern, with_message ? spec->name + "." + signal.name : signal.name)) {
        signals_[spec].push_back(&signal);
        any = true;
      }
  if (any) return std::nullopt;
  std::set<std::string> names;
  for (const MessageSpec* spec : known)
    for (const SignalSpec& signal : spec->signals)
      names.insert(with_message ? spec->name + "." + signal.name : signal.name);
  return usage(fmt::format("unknown signal \"{}\"", text), "--signal",
               offer(text, {names.begin(), names.end()}, "look it up: tramlog schema WORD"));
}

/// In the message's order, each once.
void CompiledFilter::sort_signals() {
  for (auto& [spec, signals] : signals_) {
    std::sort(signals.begin(), signals.end());  // they lie in one vector of the message
    signals.erase(std::unique(signals.begin(), signals.end()), signals.end());
  }
}

bool CompiledFilter::wants_bus(std::string_view name) const {
  const auto fit = [&](const std::string& pattern) { return fits(pattern, name); };
  return buses_.empty() || std::any_of(buses_.begin(), buses_.end(), fit);
}

bool CompiledFilter::wants_sender(const Talk& talk) const {
  if (!by_controller_) return true;
  if (!talk.extended) return false;
  const Speaker& from = talk.from;
  if (addresses_.count(from.address) > 0) return true;
  if (from.name && names_.count(from.name->raw()) > 0) return true;
  const std::string term = from.name ? function_term(*from.name) : from.words;
  return std::any_of(senders_.begin(), senders_.end(), [&](const std::string& pattern) {
    return fits(pattern, from.words) || fits(pattern, term);
  });
}

bool CompiledFilter::wants_message(const Talk& talk) const {
  if (!by_message_) return true;
  return (talk.extended && pgns_.count(talk.pgn) > 0) ||
         (talk.spec != nullptr && messages_.count(talk.spec) > 0);
}

const std::vector<const SignalSpec*>* CompiledFilter::signals_of(const MessageSpec* spec) const {
  const auto found = signals_.find(spec);
  return found == signals_.end() ? nullptr : &found->second;
}

}  // namespace tramlog
