// The files of dbc/, compiled into the program.
#pragma once

#include <cstddef>
#include <span>
#include <string_view>

namespace tramlog {

struct BuiltInFile {
  std::string_view name;  // "dbc/tractor.dbc"
  std::string_view text;

  /// From literals, whose lengths are known: nobody has to look for their ends while compiling.
  template <std::size_t N, std::size_t M>
  constexpr BuiltInFile(const char (&its_name)[N], const char (&its_text)[M])
      : name(its_name, N - 1), text(its_text, M - 1) {}
};

std::span<const BuiltInFile> built_in_files();

}  // namespace tramlog
