// The last look at a private parcel before it is written.
#pragma once

#include <optional>

#include "parcel/parcel.hpp"
#include "parcel/private_terms.hpp"
#include "schema/schema.hpp"

namespace tramlog {

/// Unpacks the finished file and searches everything in it for what was to be hidden: serials and NAMEs in
/// texts (also as hex), in device descriptions, in the captures' frames and in the messages put together from
/// them; true positions; notes. None: nothing is left. Else an error that says in which member it is, without
/// repeating it.
std::optional<Error> find_leak(const std::string& file, const PrivateTerms& terms, const Schema& schema);

/// One capture.
std::optional<Error> find_leak_in_capture(const std::string& path, const std::string& member,
                                          const PrivateTerms& terms, const Schema& schema);

}  // namespace tramlog
