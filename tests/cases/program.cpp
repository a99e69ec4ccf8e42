#include "cases/program.hpp"

#include <sys/wait.h>
#include <unistd.h>

#include <cstdio>
#include <fstream>
#include <iterator>
#include <sstream>

namespace tramlog::cases {

std::string file_text(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return std::string((std::istreambuf_iterator<char>(in)), {});
}

std::string quoted(const std::string& text) {
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return out + "'";
}

Outcome run(const std::string& command_line) {
  char errors_path[] = "/tmp/tramlog-case-XXXXXX";
  const int fd = ::mkstemp(errors_path);
  if (fd >= 0) ::close(fd);
  std::string command = command_line;
  const std::string program = TRAMLOG_BINARY;
  for (std::size_t at; (at = command.find("TRAMLOG")) != std::string::npos;) command.replace(at, 7, program);
  Outcome outcome;
  std::FILE* pipe = ::popen(("{ " + command + "; } 2>" + errors_path).c_str(), "r");
  if (pipe == nullptr) return outcome;
  char buffer[65536];
  std::size_t got;
  while ((got = std::fread(buffer, 1, sizeof buffer, pipe)) > 0) outcome.output.append(buffer, got);
  const int status = ::pclose(pipe);
  outcome.code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  outcome.errors = file_text(errors_path);
  ::unlink(errors_path);
  return outcome;
}

}  // namespace tramlog::cases
