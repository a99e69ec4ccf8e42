// Small helpers for tests of DBC files.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "schema/dbc_file.hpp"

namespace tramlog {

inline DbcFile parsed(std::string_view text) {
  return parse_dbc(text, "t.dbc");
}

inline DbcFile checked(std::string_view text) {
  DbcFile file = parse_dbc(text, "t.dbc");
  check_dbc(file);
  return file;
}

/// Each problem as the user sees it.
inline std::vector<std::string> told(const DbcFile& file) {
  std::vector<std::string> lines;
  for (const SchemaProblem& problem : file.problems) lines.push_back(describe(problem));
  return lines;
}

inline const DbcSignal& signal_of(const DbcFile& file, std::string_view name) {
  for (const DbcMessage& message : file.messages)
    for (const DbcSignal& signal : message.signals)
      if (signal.name == name) return signal;
  throw std::string("no signal ") + std::string(name);
}

inline bool has_signal(const DbcFile& file, std::string_view name) {
  for (const DbcMessage& message : file.messages)
    for (const DbcSignal& signal : message.signals)
      if (signal.name == name) return true;
  return false;
}

using Lines = std::vector<std::string>;

}  // namespace tramlog
