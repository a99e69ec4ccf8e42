// How the examiner's sentences name things: the same words in every fault, finding and report.
#pragma once

#include <string>

#include "exam/conclusions.hpp"

namespace tramlog {

/// A voice first heard this soon may have claimed its address before the capture began.
inline constexpr SpanNs kCaptureBeginning = 5 * kSecond;

/// "metering front (address 131, 0x83)": the roster's label, else the function's term; the address last held.
std::string controller_words(const Conclusions& all, std::size_t controller);
/// The same for a voice that may never have claimed: "the unclaimed address 131 (0x83)".
std::string voice_words(const Conclusions& all, std::optional<std::size_t> controller, Address address);
/// Several, joined with commas and "and"; at most six are named.
std::string controllers_words(const Conclusions& all, const std::vector<std::size_t>& controllers);
/// "131 (0x83)".
std::string address_words(Address address);
/// "65096 (0xFE48)".
std::string pgn_words(Pgn pgn);
/// "06:12:41.300 (frame 20113)".
std::string mark_words(const Mark& mark);
/// "1 frame", "12 frames".
std::string counted(std::uint64_t count, const char* singular, const char* plural);
/// "bam", "rts-cts", "etp", "fast-packet" (contract).
const char* protocol_code(Carrier carrier);
/// How a transfer failed, as the end of a sentence: "timed out after 14 of 120 bytes".
std::string failure_words(const TransferEnd& end);
/// "aborted", "timed-out", "interrupted", "out-of-order", "unseen", "complete", "unfinished" (contract).
const char* outcome_code(TransferOutcome outcome);

/// Whether the roster puts this controller on the implement's side; without a roster the NAME's device class
/// decides (0 and 1 are the tractor's). `known` tells which.
struct SideGuess {
  bool implement = false;
  bool known = false;
};
SideGuess side_of(const Conclusions& all, std::size_t controller);
/// The roster's supply word, empty if none.
std::string supply_of(const Conclusions& all, std::size_t controller);

}  // namespace tramlog
