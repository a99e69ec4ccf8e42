// Whether something comes to its end: in a copy of the process, so that a sanitizer's verdict is a failed check and not the end of all tests.
#pragma once

#include <sys/wait.h>
#include <unistd.h>

namespace tramlog::test {

template <class Work>
bool survives(Work work) {
  const pid_t copy = ::fork();
  if (copy == 0) {
    work();
    ::_exit(0);
  }
  int state = 0;
  return ::waitpid(copy, &state, 0) == copy && WIFEXITED(state) && WEXITSTATUS(state) == 0;
}

}  // namespace tramlog::test
