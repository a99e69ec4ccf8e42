// Once a second: how loaded each bus was, who took a large share of it, whether error frames follow the load,
// and whose gaps spread. Records only; the checks judge them (limits: dbc/bus-limits.toml).
#include <algorithm>

#include "exam/examiner_impl.hpp"
#include "exam/rates.hpp"

namespace tramlog {
namespace {
// Looks are a second apart; after a longer one the counts begin anew.
constexpr SpanNs kLongestLook = 2 * kSecond;
// A pace is a mean over about so many seconds.
constexpr std::uint32_t kMeanOver = 60;
// Gaps within an octave are those of a steady message (as in Pace).
constexpr unsigned kSteadyBuckets = 4;
}  // namespace

void Examiner::Impl::watch_rates() {
  const SpanNs span = now_ - rates_since_;
  rates_since_ = now_;
  const bool whole = span > 0 && span <= kLongestLook;
  const double seconds = to_seconds(span);
  std::array<double, kMaxBuses> capacity{};  // bits that the time could hold; 0: not judged
  std::array<bool, kMaxBuses> high{};
  for (std::size_t i = 0; i < buses_.size(); ++i) {
    BusWatch& bus = *buses_[i];
    BusRate& rate = bus.rate;
    const std::uint64_t all_bits = bus.total_bits + bus.window_bits;
    const std::uint64_t bits = all_bits - rate.bits_counted;
    const std::uint64_t frames = bus.frames - rate.frames_counted;
    const std::uint64_t errors = bus.error_frames - rate.errors_counted;
    rate.bits_counted = all_bits;
    rate.frames_counted = bus.frames;
    rate.errors_counted = bus.error_frames;
    if (!whole) {
      rate.high_since.reset();
      continue;
    }
    capacity[i] = bits_of(bus) * seconds;
    const double load_pct = 100 * static_cast<double>(bits) / capacity[i];
    if (frames > 0) {
      const auto y = static_cast<double>(errors) / seconds;
      ++rate.looks;
      rate.looks_with_errors += errors > 0;
      rate.error_sum += errors;
      rate.sum_x += load_pct;
      rate.sum_y += y;
      rate.sum_xx += load_pct * load_pct;
      rate.sum_yy += y * y;
      rate.sum_xy += load_pct * y;
      auto& tenth = rate.tenths[std::min<std::size_t>(static_cast<std::size_t>(load_pct / 10), 10)];
      ++tenth.looks;
      tenth.errors += errors;
    }
    high[i] = load_pct >= rate_limits_.load_high_pct;
    if (!high[i]) {
      rate.high_since.reset();
      continue;
    }
    if (!rate.high_since) rate.high_since = now_ - span;
    rate.high_total += span;
    rate.high_bits += bits;
    if (now_ - *rate.high_since > rate.high_until - rate.high_from) {
      rate.high_from = *rate.high_since;
      rate.high_until = now_;
    }
  }
  for (const Stream& known : streams_.all()) {
    Stream& stream = const_cast<Stream&>(known);
    const std::uint64_t count = stream.count - stream.rate.counted;
    stream.rate.counted = stream.count;
    if (stream.pace.blocks() != stream.rate.blocks_seen) watch_jitter(stream);
    if (stream.bus >= kMaxBuses || capacity[stream.bus] <= 0) {
      stream.rate.flood_looks = 0;
      continue;
    }
    const double bits = static_cast<double>(count) * stream.bits;
    if (high[stream.bus]) stream.rate.high_bits += static_cast<std::uint64_t>(bits);
    watch_flood(stream, static_cast<double>(count) / seconds, 100 * bits / capacity[stream.bus]);
  }
}

void Examiner::Impl::watch_flood(Stream& stream, double per_s, double share_pct) {
  StreamRate& rate = stream.rate;
  const RateLimits& limits = rate_limits_;
  const double nominal =
      stream.role.nominal_period > 0 ? 1e9 / static_cast<double>(stream.role.nominal_period) : 0;
  const double usual = std::max(rate.usual_looks >= limits.flood_learned_s ? rate.usual_per_s : 0, nominal);
  const bool floods =
      share_pct >= limits.flood_share_pct && !Transfers::is_transport(stream.pgn) &&
      (usual > 0 ? per_s >= limits.flood_factor * usual : share_pct >= limits.flood_alone_share_pct);
  if (!floods) {
    rate.flood_looks = 0;
    rate.flood = -1;
    if (per_s > 0 || rate.usual_looks > 0) {
      // A second in which a flood began or ended may not spoil the mean.
      const double counts =
          rate.usual_looks >= limits.flood_learned_s ? std::min(per_s, 2 * rate.usual_per_s) : per_s;
      rate.usual_looks += rate.usual_looks < UINT32_MAX;
      rate.usual_per_s += (counts - rate.usual_per_s) / std::min(rate.usual_looks, kMeanOver);
    }
    return;
  }
  if (rate.flood_looks == 0) rate.flood_since = now_ - kSecond;
  ++rate.flood_looks;
  if (rate.flood_looks < limits.flood_for_s) return;
  if (rate.flood < 0) {
    if (floods_.size() >= kMaxFloods) {
      floods_over_cap_ += rate.flood_looks - 1 < limits.flood_for_s;
      return;
    }
    rate.flood = static_cast<std::int32_t>(floods_.size());
    floods_.push_back({&stream, rate.flood_since, now_, {}, usual, 0, 0, 0});
  }
  FloodTrack& flood = floods_[static_cast<std::size_t>(rate.flood)];
  flood.end = now_;
  flood.last = {stream.last, stream.last_frame};
  flood.looks += 1;
  flood.per_s_sum += per_s;
  flood.share_sum += share_pct;
}

void Examiner::Impl::watch_jitter(Stream& stream) {
  StreamRate& rate = stream.rate;
  const std::uint32_t blocks = stream.pace.blocks();
  if (blocks < rate.blocks_seen || rate.blocks_seen == 0) {
    // Another sender has the stream now, or its first block is whole.
    rate.steady_blocks = rate.late_blocks = 0;
  }
  rate.blocks_seen = blocks;
  if (blocks == 0) return;
  const Pace::Spread spread = stream.pace.spread();
  const auto length = [](std::uint8_t bucket) { return static_cast<double>(Pace::bucket_middle(bucket)); };
  const bool late = rate.steady_blocks > 0 &&
                    length(spread.high) >= rate_limits_.late_factor * length(rate.steady.high) &&
                    spread.low <= rate.steady.middle + 1;
  if (late) {
    const Mark at{stream.last, stream.last_frame};
    if (rate.late_blocks == 0) rate.late_from = at;
    if (rate.late_blocks == 0 || spread.high > rate.late.high) rate.late = spread;
    rate.late_until = at;
    ++rate.late_blocks;
  } else if (rate.late_blocks == 1) {
    // One alone is where the pace changed for good.
    rate.late_blocks = 0;
  } else if (rate.late_blocks == 0 && spread.high - spread.low <= static_cast<int>(kSteadyBuckets)) {
    // The widest of the steady ones is what later ones are held against.
    if (rate.steady_blocks == 0 || spread.high > rate.steady.high) rate.steady = spread;
    ++rate.steady_blocks;
  }
}

}  // namespace tramlog
