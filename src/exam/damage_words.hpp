// What of a recording was lost to damage, and what else damage did to it: of the capture itself, or of the
// one that it was mended or cut from.
#pragma once

#include <cstdint>
#include <string>

#include "exam/conclusions.hpp"

namespace tramlog {

struct DamageTally {
  std::size_t places = 0;  // of every kind
  std::uint64_t bytes = 0;
  std::size_t stamps = 0;      // single time stamps that were put right
  std::size_t doubtful = 0;    // checksums that do not hold
  std::size_t ends = 0;        // files that break off
  TimeNs first = 0, last = 0;  // places; meaningful if there are any
  TimeNs last_loss = 0, last_doubt = 0, last_end = 0;
};

/// Of the captures that were read.
DamageTally damage_here(const Conclusions& all);
/// As the notes in them tell.
DamageTally damage_before(const Conclusions& all);

/// Of either: then it is not the whole recording that was judged.
bool anything_lost(const Conclusions& all);

/// Of them, those where bytes could not be read.
std::size_t losses_in(const DamageTally& tally);

/// `lost`, if anything was, and what else there is: "48 bytes could not be read; the recording breaks off at
/// 12:12:17.743, and what came after is not known; 2 time stamps ..".
std::string damage_sum_words(const DamageTally& tally, const std::string& lost);

/// A clock is put back to any time; blocks of a file in the wrong order go back to where some are lacking.
bool goes_back_to_a_hole(const Conclusions& all, TimeNs to);

/// "unreadable", "breaks-off", "doubtful", "time-stamp": in the JSON report.
const char* damage_code(Damage::Kind kind);

/// "48 bytes, block lengths differ"
std::string damage_words(const DamageRecord& damage);

}  // namespace tramlog
