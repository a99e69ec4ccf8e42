// The report: what the examiner concluded and which captures it came from. Plain data; formats render it.
#pragma once

#include <string>
#include <vector>

#include "exam/conclusions.hpp"

namespace tramlog {

struct Report {
  /// Fingerprints of the captures in time order: the same for a file, a pipe, plain and compressed, wherever
  /// it lies.
  std::vector<std::string> files;
  /// What the captures are called, without folders, in the same order; empty where nobody named them (live, a pipe). For heads of pages
  /// only: text and JSON must not depend on them.
  std::vector<std::string> names;
  bool read_error = false;  // some input could not be read to its end
  bool stand_ins = false;   // private: identity and serial numbers are no true ones (tramlog parcel --private)
  Conclusions found;
};

/// The contract's words.
const char* state_code(ControllerState state);
const char* state_code(EntryState state);
const char* kind_code(DropoutKind kind);
const char* severity_code(Severity severity);
const char* confidence_code(Confidence confidence);

}  // namespace tramlog
