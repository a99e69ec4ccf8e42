// Implements, pairs, sections, totals and the check-list as JSON; shared by tramlog.report/1 and tramlog.seeding/1.
#pragma once

#include <nlohmann/json.hpp>

#include "report/report.hpp"

namespace tramlog {

using OrderedJson = nlohmann::ordered_json;

/// "pass", "attention", "not-shown".
const char* verdict_code(Verdict verdict);
/// "none", "uploaded", "library", "given".
const char* source_code(PoolSource source);
/// "announced", .. "active", "refused", "lost".
const char* dialogue_code(DialogueState state);

/// One check-list line.
OrderedJson line_json(const CheckLine& line);
/// Each implement: who, its task controllers, its description in short, pairs, sections, totals; `lines`: with its lines.
OrderedJson implements_json(const Conclusions& all, bool lines);

}  // namespace tramlog
