// The device descriptions of implements, as a tree with the latest values: for people, and as tramlog.devices/1.
#pragma once

#include <optional>
#include <string>

#include "report/format.hpp"
#include "schema/schema.hpp"

namespace tramlog {

struct DevicesOptions {
  FormatOptions format;
  std::optional<std::uint16_t> element;  // only this element and what is below it
};

std::string devices_page(const Report& report, const Schema& schema, const DevicesOptions& options);
std::string devices_json(const Report& report, const Schema& schema, const DevicesOptions& options);

/// What a user may call an implement: its NAME (16 hex digits), its label in the roster, or its designator.
bool is_called(const Conclusions& all, const ImplementRecord& implement, const std::string& name);

}  // namespace tramlog
