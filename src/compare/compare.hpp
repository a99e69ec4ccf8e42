// Two reports held against each other: what got worse, what got better, what else is different. Before and
// after a repair, an update, a winter.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"

namespace tramlog {

/// One side: a report as tramlog.report/1, wherever it came from.
struct CompareSide {
  std::string called;  // what the user named: for messages and heads
  nlohmann::json report;
  bool is_private = false;  // of a private parcel; a report may say so itself (capture.private)
};

/// Of the text of a JSON report. Errors: input (no JSON, nested absurdly, another schema).
Result<CompareSide> compare_side(const std::string& text, const std::string& called);

/// `noted`: something of the machine is not as it was, and that is no fault.
enum class Change : unsigned char { worse, better, noted, other };

struct ChangeLine {
  Change change = Change::other;
  std::string code;  // stable, dotted: "controller.gone"
  std::string
      topic;  // "controllers", "dropouts", "faults", "findings", "notes", "bus", "seeding", "description"
  std::string subject;  // who or what; empty: the whole
  std::string text;     // one sentence with both values
  std::optional<double> before, after;
  std::string unit;        // of the two; empty: a count
  bool too_short = false;  // there is a difference, but a recording is too short to call it worse or better
  std::vector<ChangeLine>
      counted;  // of a finding: what it explains, dropouts and faults; no lines of their own
};

/// How one side is told in heads.
struct SideSummary {
  std::string called, machine, start, end;
  std::vector<std::string> files;
  double duration_s = 0;
  double heard_s = 0;  // without the recorder's blind time, of the bus that was heard best
  double blind_s = 0;  // of the bus that was heard worst
  std::size_t controllers = 0;
  bool is_private = false;  // identity and serial numbers are stand-ins
};

struct Comparison {
  SideSummary before, after;
  std::vector<ChangeLine> lines;    // worse first, then better, then other; by topic
  std::size_t not_listed = 0;       // beyond kMaxChangeLines
  std::vector<std::string> doubts;  // sentences: what makes the comparison doubtful
  std::size_t compared = 0;         // controllers, counts and figures that were held against each other
  std::size_t within_noise = 0;     // figures that differ by no more than what differs anyway

  std::size_t count(Change change) const;
};
inline constexpr std::size_t kMaxChangeLines = 2000;

/// Anything may stand in the documents; what is missing or of another type is not compared.
Comparison compare(const CompareSide& before, const CompareSide& after);

/// "worse", "better", "changed" (noted), "other".
const char* change_code(Change change);
/// "worse" if anything got worse, else "better", "other", "changed", "same".
const char* verdict_of(const Comparison& comparison);

std::string compare_page(const Comparison& comparison, bool unicode);
std::string compare_json(const Comparison& comparison);
std::string compare_html(const Comparison& comparison);

}  // namespace tramlog
