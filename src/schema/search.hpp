// Finding one's way in the schema: by word, PGN, SPN or DDI.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "base/result.hpp"
#include "schema/schema.hpp"

namespace tramlog {

struct MessageHit {
  const MessageSpec* message = nullptr;
  bool whole = false;                      // the message itself is meant: by its number, name or title
  std::vector<const SignalSpec*> signals;  // that match on their own, in the message's order
};

struct SchemaHits {
  std::vector<MessageHit> messages;  // in the order of Schema::messages()
  std::vector<const DictionaryEntry*> process_data;
  std::vector<std::pair<std::uint32_t, std::string>> spns;  // with a text of their own
  std::vector<std::pair<std::uint8_t, std::string>> fmis;

  bool empty() const { return messages.empty() && process_data.empty() && spns.empty() && fmis.empty(); }
};

/// Each term must match. A number ("65096", "0xFE48") means a PGN, an SPN or a DDI of that number; "pgn:",
/// "spn:", "ddi:" or "fmi:" before it says which. Anything else is a word that must occur in a name, title,
/// comment or code text, whatever its case (with * or ? a pattern for the whole of one); a message name in
/// full means that message only. A prefix without a number in range is a usage error.
Result<SchemaHits> search_schema(const Schema& schema, const std::vector<std::string>& terms);

/// Names of `candidates` that resemble `word` (a misspelt name), nearest first, at most `most`.
std::vector<std::string> close_names(std::string_view word, const std::vector<std::string>& candidates,
                                     std::size_t most = 3);

}  // namespace tramlog
