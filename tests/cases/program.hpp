// Runs the real program as a user would.
#pragma once

#include <string>

namespace tramlog::cases {

struct Outcome {
  std::string output;  // standard output
  std::string errors;  // standard error
  int code = -1;
};

/// A shell command line; TRAMLOG in it stands for the program under test.
Outcome run(const std::string& command_line);
std::string quoted(const std::string& text);
std::string file_text(const std::string& path);

}  // namespace tramlog::cases
