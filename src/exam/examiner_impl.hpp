// The examiner's working state; shared by the files examiner*.cpp and silence_watch.cpp.
#pragma once

#include <deque>
#include <memory>
#include <set>
#include <vector>

#include "exam/bus_clock.hpp"
#include "exam/bus_watch.hpp"
#include "exam/conclusions.hpp"
#include "exam/examiner.hpp"
#include "implement/pool_parts.hpp"
#include "exam/machine_facts.hpp"
#include "exam/rates.hpp"
#include "exam/request_watch.hpp"
#include "exam/stream_table.hpp"
#include "isobus/network.hpp"
#include "isobus/transfers.hpp"
#include "isobus/working_set.hpp"

namespace tramlog {

// Limits of the judgement of silence; DEVELOPERS.md, "How silence is judged", says why.
inline constexpr SpanNs kShortestSilence = kSecond;  // facts 6.8: at least 1 s
inline constexpr int kLostPeriods = 5;               // facts 6.8: lost after 5 learned periods
inline constexpr double kLatePeriods = 2.5;          // a re-claim after this long is a restart
inline constexpr SpanNs kLifeAfterStop = kMinute;    // a stream that paused is relied upon again after this
inline constexpr SpanNs kTickPeriod =
    100 * kMillisecond;  // how often deadlines are looked at, in capture time

/// It seems to have a rhythm: enough to note a silence that its further life may prove to be one.
bool rhythmic(const Stream& stream);
/// A rhythm that may be relied upon: its end would mean that the sender has stopped.
bool dependable(const Stream& stream);
SpanNs period_of(const Stream& stream);
/// Silence of a dependable stream longer than this is one.
SpanNs limit_of(const Stream& stream);

class Conclude;

/// A step of the recorder's clock against the direction of time.
struct ClockStep {
  Mark at;
  SpanNs back = 0;
};

class Examiner::Impl final : public NetworkSink, public TransferSink {
 public:
  static constexpr std::size_t kMaxBuses = 64;
  static constexpr std::size_t kMaxSilences = 4096;
  static constexpr std::size_t kMaxStops = 512;
  static constexpr unsigned kMaxDoubtfulSilences =
      128;  // of one party; whoever has more speaks when it likes
  static constexpr std::size_t kMaxFailedTransfers = 1000;
  static constexpr std::size_t kMaxDamage = 256;
  static constexpr std::size_t kMaxDtcsPerParty = 128;
  static constexpr std::size_t kMaxRetired = 32;
  static constexpr std::size_t kMaxRuns = 256;
  static constexpr std::size_t kMaxNotes = 1024;  // of the recorder, of each kind
  static constexpr std::size_t kMaxFloods = 64;
  static constexpr std::size_t kMaxSupplies = 64;  // who tells a voltage
  static constexpr std::size_t kMaxSupplySpells = 256;
  static constexpr std::size_t kMaxVersions = 64;

  Impl(const Schema& schema, ImplementOptions implements)
      : schema_(schema),
        limits_(implements.limits),
        network_(*this),
        transfers_(*this),
        implements_(schema, network_, std::move(implements)) {}

  void take(std::span<const Event> events);
  Conclusions conclude(const std::optional<Roster>& roster, const CauseWeights& weights);

 private:
  // examiner.cpp: the hot path and who speaks
  void take_frame(const Event& event);
  void take_odd_frame(BusWatch& bus, const Event& event);
  Stream* new_stream(const Event& event);
  BusWatch& bus_of(BusIndex index);
  void pass_time(const Event& event);
  void roll_window(BusWatch& bus, TimeNs time);
  void begin_gap_anew(Stream& stream, const Event& event);
  void end_damage(BusWatch& bus, const Event& event);
  Party& anonymous(BusIndex bus, Address address);
  Party& party_of(ControllerId controller);
  void attach(Party& party, Address address, TimeNs time);
  void detach(Party& party, Address address);

  // examiner_messages.cpp: what is said
  void deliver(const Event& event, Stream& stream);
  void take_message(const Message& message);
  void take_request(const Message& message);
  void take_acknowledgement(const Message& message);
  void take_trouble_codes(const Message& message, bool active);
  void take_key_switch(BusWatch& bus, const Message& message);
  void take_engine_speed(BusWatch& bus, const Message& message);
  void take_broadcast_control(BusWatch& bus, const Message& message);
  void take_notice(const Event& event);
  void open_damage();
  void take_note(const Event& event, const RecorderNote& note);
  void take_known(const Event& event, const RecorderNote& note);
  void take_cut(const Event& event, const RecorderNote& note);
  /// Everything of it is here: always, but in a slice that was made for others.
  bool is_whole(const Party& party) const;
  bool take_identity(Party& voice, Pgn pgn, Bytes data, Mark at);
  void note_loss(BusIndex bus, TimeNs from, TimeNs to);
  void take_error(const Event& event);
  void on_message(const Message& message) override;
  void on_transfer_end(const TransferEnd& end) override;
  void on_claim(const Claim& claim) override;
  void on_owner(BusIndex bus, Address address, ControllerId from, ControllerId to, TimeNs time) override;

  void take_supply_voltage(Party& voice, const Message& message);
  void take_terminal_version(const Message& message);

  // rate_watch.cpp
  void watch_rates();
  void watch_flood(Stream& stream, double per_s, double share_pct);
  void watch_jitter(Stream& stream);

  // silence_watch.cpp
  void tick();
  void watch_party(Party& party);
  void watch_streams();
  std::vector<const Stream*> judged_streams(const Party& party) const;
  void fall_silent(Party& party);
  void heard_again(Party& party, const Event& event, const Stream& stream);
  void confirm_return(Party& party);
  void cancel_return(Party& party);
  void note_stop(Party& party, Stream& stream);
  void note_gap(BusWatch& bus, const Event& event);
  GapRecord gap_until_now(BusIndex index, const BusWatch& bus) const;

  friend class tramlog::Conclude;

  const Schema& schema_;
  const SeedingLimits limits_;
  const RateLimits rate_limits_{limits_};
  const SupplyLimits supply_limits_{limits_};
  std::vector<std::unique_ptr<BusWatch>> buses_;
  StreamTable streams_;
  std::deque<Party> parties_;
  std::vector<Party*> controller_party_;  // by ControllerId
  std::vector<std::array<Party*, 256>> anonymous_;
  Network network_;
  Transfers transfers_;
  WorkingSets working_sets_;
  ImplementWatch implements_;
  PoolParts known_pools_;

  bool started_ = false;
  Party* known_party_ = nullptr;  // whom the latest note of what was known speaks of
  struct Choice {
    std::set<std::uint64_t> names;
    std::set<Address> addresses;
    auto operator<=>(const Choice&) const = default;
  };
  static constexpr std::size_t kMaxChoices = 8;
  std::set<Choice> choices_;  // a slice of a slice holds only whom both were made for
  bool chosen_only_ = false;  // a slice that holds some controllers only: the bus was not as quiet as it seems
  TimeNs start_ = 0;
  TimeNs now_ = 0;  // latest time of any event
  TimeNs next_tick_ = 0;
  TimeNs next_stream_watch_ = 0;
  std::uint64_t foreign_ = 0, short_frames_ = 0, untimed_ = 0, buses_over_cap_ = 0;
  std::uint64_t silences_over_cap_ = 0, stops_over_cap_ = 0;
  std::vector<SilenceRecord> silences_;
  std::vector<StreamStop> stops_;
  std::vector<ClockStep> clock_steps_;
  std::uint64_t clock_steps_over_cap_ = 0;
  std::vector<DamageRecord> damage_;
  std::uint64_t damaged_bytes_ = 0, damage_over_cap_ = 0;
  RecorderRecord recorder_;
  BusClock bus_clock_;
  MachineFacts machine_facts_;
  TransferSummary transfer_summary_;
  struct ClearRequest {
    BusIndex bus;
    Address by, to;
    Mark at;
  };
  std::vector<ClearRequest> clear_requests_;  // DM3, DM11, DM22; the latest ones
  RequestWatch requests_{static_cast<SpanNs>(limits_["request.answer_s"] * 1e9)};
  struct FloodTrack {
    const Stream* stream;
    TimeNs start, end;
    Mark last;
    double usual_per_s;
    double looks, per_s_sum, share_sum;
  };
  std::vector<FloodTrack> floods_;
  std::uint64_t floods_over_cap_ = 0;
  TimeNs rates_since_ = 0, next_rates_ = 0;
  struct SupplyLow {
    const Party* party;
    Mark start, end;
    std::uint32_t least;
  };
  std::vector<Party*> supplies_;
  std::vector<SupplyLow> supply_lows_;
  std::uint64_t supplies_over_cap_ = 0;
  struct TerminalVersion {
    BusIndex bus;
    Address client, terminal;
    unsigned client_version, terminal_version;  // 0: not told yet
    Mark at;
  };
  std::vector<TerminalVersion> terminal_versions_;
};

}  // namespace tramlog
