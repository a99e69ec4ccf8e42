// The roster: which controllers should be on this machine, read from TOML, matched against what was seen, and
// learned from a good capture. Pure functions; nothing here reads a file or knows the time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "isobus/name.hpp"

namespace tramlog {

/// Which NAMEs an entry means: one exact NAME, or a value for any subset of the NAME's fields (ISO 11783-5;
/// fact sheet, network and diagnostics, 2.1).
struct NamePattern {
  std::optional<Name> exact;
  std::optional<std::uint32_t> identity_number;        // 21 bit
  std::optional<std::uint32_t> manufacturer_code;      // 11 bit
  std::optional<std::uint32_t> ecu_instance;           // 3 bit
  std::optional<std::uint32_t> function_instance;      // 5 bit
  std::optional<std::uint32_t> function;               // 8 bit
  std::optional<std::uint32_t> device_class;           // 7 bit
  std::optional<std::uint32_t> device_class_instance;  // 4 bit
  std::optional<std::uint32_t> industry_group;         // 3 bit
  std::optional<bool> self_configurable_address;

  bool matches(Name name) const;
  /// As matches(), but for another unit of the same job: identity number and bit 63 are not compared.
  bool matches_job(Name name) const;
  /// How many fields it asks for; an exact NAME counts more than all fields together.
  unsigned specificity() const;
  /// For people: "function 128, function instance 0", or "NAME a0088000b5e0d6d9".
  std::string describe() const;

  bool operator==(const NamePattern&) const = default;
};

/// Which side of the hitch connector a controller sits on.
enum class Side : std::uint8_t { implement, tractor };
/// "implement" or "tractor".
std::string_view side_text(Side side);

struct RosterEntry {
  std::string label;                  // unique in the roster, never empty
  NamePattern name;                   // never without any criterion
  std::vector<std::string> software;  // glob patterns; each must match one reported text; empty accepts any
  bool required = true;
  std::optional<std::string> supply;  // controllers on one power feed carry the same word
  std::optional<Side> side;
  unsigned line = 0;  // where it starts in the file, 1-based

  bool matches(Name seen) const { return name.matches(seen); }
};

struct Roster {
  std::string file;     // as given to parse_roster()
  std::string machine;  // may be empty
  std::vector<RosterEntry> entries;
  std::vector<std::string> warnings;  // "file:line: sentence"; suspicious, but usable
};

inline constexpr std::size_t kMaxRosterBytes = 8 * 1024 * 1024;
inline constexpr std::size_t kMaxRosterEntries = 1024;
inline constexpr std::size_t kMaxSoftwarePatterns = 32;  // of one entry
inline constexpr std::size_t kMaxPatternBytes = 1024;    // one software pattern
inline constexpr std::size_t kMaxRosterTextBytes = 200;  // a label, a supply word, the machine's name
inline constexpr std::size_t kMaxListedCandidates = 64;  // of one ambiguous entry

/// The whole text of a roster file. `file` is used in messages only. The first thing that is wrong is
/// returned as an input error: what was found and expected, "file:line:column", and what to do.
Result<Roster> parse_roster(std::string_view text, const std::string& file);

/// Why the software texts of a controller are not known.
enum class SoftwareSilence : std::uint8_t {
  never_asked,      // nobody requested software identification from it
  refused,          // it answered the request with a NACK
  no_answer,        // nothing within 1.25 s of the request
  broken_off,       // its answer began and was aborted or timed out
  busy,             // it answered "cannot respond now"
  reported_nothing  // it answered, without any text in it
};
/// Clause after a colon: "it was never asked", "it refused the request (NACK)".
std::string_view silence_text(SoftwareSilence silence);

/// A controller on the bus as the matching needs it.
struct Seen {
  Name name;
  std::vector<std::string> software;                       // as reported; empty if not known
  SoftwareSilence silence = SoftwareSilence::never_asked;  // counts only while `software` is empty
};

enum class EntryMatch : std::uint8_t { matched, missing, ambiguous };
enum class SoftwareVerdict : std::uint8_t {
  any,      // the entry asks for none, or nothing is matched
  ok,       // every pattern matches a reported text
  wrong,    // at least one pattern matches none of them
  unknown,  // the matched controller's texts are not known
};

/// Indexes called "seen" count the vector given to match_roster(); of equal NAMEs only the first is ever
/// named.
struct EntryResult {
  std::size_t entry = 0;  // index in Roster::entries
  EntryMatch match = EntryMatch::missing;
  std::optional<std::size_t> seen;  // set if and only if matched
  std::vector<std::size_t>
      candidates;  // ambiguous: what it could be, two or more, at most kMaxListedCandidates
  std::optional<std::size_t> stand_in;  // missing: a controller that is not in the roster does this job
  SoftwareVerdict software = SoftwareVerdict::any;
  std::vector<std::string> unmet;  // wrong: the patterns that match no reported text
  std::string detail;              // sentence without full stop; empty if there is nothing to say
};

struct RosterMatch {
  std::vector<EntryResult> entries;  // in roster order, one each
  std::vector<std::size_t> extra;    // seen controllers that no entry took and no ambiguous entry could be
};

/// Assigns controllers to entries, at most one each way. Exact NAMEs go first; then, again and again, the
/// most specific entry that only one free controller fits takes it (of equals a required one, then the
/// earlier one). An entry with several free candidates at the end is ambiguous. Equal NAMEs (one controller
/// on two buses) count as one, with the software texts of all of them.
RosterMatch match_roster(const Roster& roster, const std::vector<Seen>& seen);

/// Judges the texts of one controller. Texts are trimmed before they are compared.
struct SoftwareCheck {
  SoftwareVerdict verdict = SoftwareVerdict::any;
  std::vector<std::string> unmet;
};
SoftwareCheck check_software(const std::vector<std::string>& patterns, const std::vector<std::string>& texts);

/// A controller of a good capture, to become an entry.
struct LearnedController {
  Name name;
  std::uint8_t address = 0;           // the last one it held; for the order and a comment
  std::vector<std::string> software;  // as reported; empty: the entry accepts any
};

/// A roster text that parse_roster() accepts and that matches exactly these controllers, in the order of
/// address and NAME. Entries leave the identity number out, so that a swapped unit of the same kind still
/// matches; where two controllers differ in nothing else, their entries hold the exact NAME. Without
/// controllers the text has no entry and says so; parse_roster() refuses it. At most kMaxRosterEntries are
/// written.
std::string write_roster(std::string_view machine, std::vector<LearnedController> controllers);

}  // namespace tramlog
