// What one DBC file may hold at most, so that a hostile text cannot take unbounded memory. Far above what
// real files have; whatever is left out is told.
#pragma once

#include <cstddef>

namespace tramlog {

inline constexpr std::size_t kMaxDbcMessages = 65'536;
inline constexpr std::size_t kMaxDbcSignals = 262'144;
inline constexpr std::size_t kMaxDbcDefinitions = 1'000;   // of attributes
inline constexpr std::size_t kMaxDbcAttributes = 500'000;  // values
/// Codes of VAL_ and VAL_TABLE_, ranges of SG_MUL_VAL_ and choices of BA_DEF_ together.
inline constexpr std::size_t kMaxDbcCodes = 1'000'000;
/// Bytes of text that stand in the file once and are held many times: value tables by name, choices by index.
inline constexpr std::size_t kMaxDbcCopiedBytes = 64 * 1024 * 1024;
/// Names and quoted pieces of the file are cut to this in problems.
inline constexpr std::size_t kMaxDbcQuoted = 60;
/// Unknown keywords of which a problem tells.
inline constexpr std::size_t kMaxDbcUnknownKeywords = 50;
/// Comparisons of signals that might overlap, for a whole file.
inline constexpr std::size_t kMaxDbcOverlapChecks = 10'000'000;

/// What GenMsgCycleTime may say. No frame fits into less than half a millisecond, and what comes less often
/// than once an hour is not cyclic for anybody who waits for it.
inline constexpr int kMinDbcPeriodMs = 1;
inline constexpr int kMaxDbcPeriodMs = 3'600'000;
inline constexpr int kMaxDbcSpn = 524'287;  // 19 bits

}  // namespace tramlog
