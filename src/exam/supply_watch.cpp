// Supply voltages that controllers tell: how low, for how long, and against each other.
#include <algorithm>

#include "exam/examiner_impl.hpp"

namespace tramlog {
namespace {
// The message comes every second: a value of another controller is of the same time for so long.
constexpr SpanNs kSameTime = 2 * kSecond;
constexpr std::uint32_t kHighestValid = 0xFAFF;
}  // namespace

// PGN 65271: B5-6 battery potential, power input 1 (SPN 168), 0.05 V a bit (fact sheet, signals).
void Examiner::Impl::take_supply_voltage(Party& voice, const Message& message) {
  if (message.data.size() < 8) return;
  const std::uint32_t raw = load_le16(message.data.data() + 4);
  // A sender without that input says zero or "not available".
  if (raw == 0 || raw > kHighestValid) return;
  const Mark at{message.start, message.first_frame};
  SupplyTrack& own = voice.supply;
  if (own.count == 0) {
    if (supplies_.size() >= kMaxSupplies) {
      ++supplies_over_cap_;
      return;
    }
    supplies_.push_back(&voice);
    own.least = own.most = raw;
    own.least_at = at;
  }
  // A hole in the recording is no time of low voltage.
  const bool goes_on =
      own.count > 0 && at.time >= own.latest_at.time && at.time - own.latest_at.time <= 3 * kSecond;
  ++own.count;
  own.told.add(at.time, raw);
  own.latest = raw;
  own.latest_at = at;
  own.most = std::max(own.most, raw);
  if (raw < own.least) {
    own.least = raw;
    own.least_at = at;
  }
  if (!goes_on) {
    own.low.reset();
    own.differs_since.reset();
  }
  const double system = own.most >= supply_limits_.volts_24 ? 2 : 1;
  if (raw >= supply_limits_.low * system) {
    own.low.reset();
  } else if (own.low) {
    supply_lows_[*own.low].end = at;
    supply_lows_[*own.low].least = std::min(supply_lows_[*own.low].least, raw);
  } else if (supply_lows_.size() < kMaxSupplySpells) {
    own.low = supply_lows_.size();
    supply_lows_.push_back({&voice, at, at, raw});
  } else {
    ++supplies_over_cap_;
  }

  const Party* highest = nullptr;
  for (const Party* other : supplies_)
    if (other != &voice && at.time - other->supply.latest_at.time <= kSameTime &&
        (highest == nullptr || other->supply.latest > highest->supply.latest))
      highest = other;
  if (highest == nullptr || highest->supply.latest < raw + supply_limits_.differs * system) {
    own.differs_since.reset();
    return;
  }
  if (!own.differs_since) own.differs_since = at;
  if (at.time - own.differs_since->time <= own.differs_until.time - own.differs_from.time) return;
  if (own.differs_from.time != own.differs_since->time) own.differs_most = 0;
  own.differs_from = *own.differs_since;
  own.differs_until = at;
  own.differs_most = std::max(own.differs_most, highest->supply.latest - raw);
  own.differs_from_whom = highest;
}

}  // namespace tramlog
