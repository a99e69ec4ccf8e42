// Files that are not whole yet, so that a signal that ends the program does not leave them behind.
#pragma once

#include <csignal>
#include <string>

namespace tramlog {

/// Holds back the signals that end a program while a file is made and noted, in this thread.
class SignalsHeld {
 public:
  SignalsHeld();
  ~SignalsHeld();
  SignalsHeld(const SignalsHeld&) = delete;
  SignalsHeld& operator=(const SignalsHeld&) = delete;

 private:
  sigset_t before_;
};

/// To be called where the program starts, once: SIGTERM, SIGINT and SIGHUP remove what is noted and then end
/// the program as they always do. A signal that is ignored stays ignored (nohup).
void remove_unfinished_at_signals();

/// Notes a file. Where there is no room for its name it is not noted: nothing else depends on it.
void note_unfinished(const std::string& path);
/// It is whole and in its place, or removed.
void forget_unfinished(const std::string& path);

/// Removes an unfinished file and forgets it.
void remove_unfinished(const std::string& path);

}  // namespace tramlog
