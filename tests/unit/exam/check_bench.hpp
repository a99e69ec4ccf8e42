// What tests of single checks share: a bus of two talking units, and what a fault says.
#pragma once

#include "unit/exam/bench.hpp"

namespace tramlog {

inline const Name kFirstUnit = ExamBench::unit(10), kSecondUnit = ExamBench::unit(11, 4, 128, 1);

/// Units at 0x80 and 0x81 that claim and talk every 100 ms, the first one from `pauses` on only in between.
inline ExamBench two_talkers(double until, std::vector<std::pair<double, double>> pauses = {}) {
  ExamBench b;
  b.claim(0.01, kFirstUnit, 0x80);
  b.claim(0.02, kSecondUnit, 0x81);
  double from = 0.4;
  for (const auto& [begin, end] : pauses) {
    b.talks(from, begin, 0x80);
    from = end;
  }
  b.talks(from, until, 0x80);
  b.talks(0.4, until, 0x81);
  return b;
}

inline Fault only(const Conclusions& all, const std::string& code) {
  const auto faults = faults_of(all, code);
  if (faults.size() != 1) {
    for (const Fault& fault : all.faults) UNSCOPED_INFO(fault.code << ": " << fault.text);
    FAIL(code << " told " << faults.size() << " times");
  }
  return faults.front();
}
inline bool says(const Fault& fault, const std::string& words) {
  UNSCOPED_INFO(fault.text);
  return fault.text.find(words) != std::string::npos;
}
inline bool none(const Conclusions& all, const std::string& code) {
  for (const Fault& fault : faults_of(all, code)) UNSCOPED_INFO(fault.text);
  return faults_of(all, code).empty();
}
/// Whether the fault is about exactly these.
inline bool about(const Conclusions& all, const Fault& fault, std::vector<Name> names) {
  std::vector<Name> is;
  for (const std::size_t c : fault.controllers) is.push_back(all.controllers[c].name);
  std::sort(is.begin(), is.end());
  std::sort(names.begin(), names.end());
  return is == names;
}

}  // namespace tramlog
