// What the schema knows, for people and as JSON (tramlog schema).
#pragma once

#include <string>

#include "schema/search.hpp"

namespace tramlog {

/// Files in their order with what they hold and how many problems they have; then where each further step
/// leads.
std::string schema_overview_text(const Schema& schema);
std::string schema_overview_json(const Schema& schema);

/// What was found. One message, or one that was named in full: with places, resolution, range and codes of
/// its signals; many: a line each. ASCII unless `unicode`.
std::string schema_hits_text(const Schema& schema, const SchemaHits& hits, bool unicode);
/// {"schema":"tramlog.schema/1","messages":[..],"process_data":[..],"suspect_parameters":[..],"failure_modes":[..]}
std::string schema_hits_json(const Schema& schema, const SchemaHits& hits);

/// "3.1" to "4.8": byte.bit of the signal's least and most significant bit, bytes from 1, bits from 1 = least
/// significant (fact sheet, signals, 0).
std::string place_words(const SignalSpec& signal);

}  // namespace tramlog
