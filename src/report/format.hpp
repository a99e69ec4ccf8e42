// A report format: one file in report/formats/, named like its object; --format takes the name.
#pragma once

#include <string>

#include "report/report.hpp"

namespace tramlog {

struct FormatOptions {
  bool unicode = false;  // text: keep characters outside ASCII as they are
  bool place = false;    // name the place where the machine was
};

struct Format {
  const char* name;
  const char* explains;
  std::string (*report)(const Report& report, const FormatOptions& options);
  std::string (*rollcall)(const Report& report, const FormatOptions& options);
  std::string (*seeding)(const Report& report, const FormatOptions& options);
};

/// Null if there is none of that name.
const Format* find_format(const std::string& name);
/// "html, json, summary, text".
std::string format_names();

}  // namespace tramlog
