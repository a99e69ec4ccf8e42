// What a Schema asks of a DBC message before it makes a MessageSpec of it.
#pragma once

#include <cstddef>

#include "schema/dbc_file.hpp"

namespace tramlog {

/// MessageSpec::exact_only.
bool is_exact_only(const DbcMessage& message, const DbcFile& file);

/// Signals that make_message_spec() will take over; of a checked file all.
std::size_t count_readable_signals(const DbcMessage& message);

}  // namespace tramlog
