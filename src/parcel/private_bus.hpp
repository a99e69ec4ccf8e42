// The private bus: the recording as it would have been without serial numbers, identities, positions,
// people's notes, the recorder's quotations and names of buses that say more than "can0". Events in, events
// out; times, identifiers, lengths and the number of frames stay, so that everything that is found on the
// true bus is found here, too.
//
// The whole recording is read three times in the same order: learn() each event, settle(), plan() each event,
// planned(), then conceal() as often as wanted, each time after restart(). Makers' own messages and those
// that nobody looked at become counters that change when the message changes, because a rhythm is told from
// the change.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <unordered_map>
#include <vector>

#include "can/event.hpp"
#include "implement/pool_parts.hpp"
#include "isobus/transfers.hpp"
#include "parcel/packet_trail.hpp"
#include "parcel/private_rules.hpp"
#include "schema/schema.hpp"

namespace tramlog {

/// What was done, for contents.txt.
struct PrivateTally {
  std::uint64_t blanked = 0;          // single frames of opaque messages
  std::uint64_t blanked_packets = 0;  // packets of transfers that did not end complete, or found no room
  std::uint64_t positions = 0;        // messages
  std::uint64_t notes = 0;            // removed
};

class PrivateBus {
 public:
  static constexpr std::size_t kMaxRewritten =
      12'000'000;  // packets of transfers that carry something private: 16 bytes each

  /// The schema says which messages come as fast packets. `terms` may have learned something already: of a
  /// roster.
  PrivateBus(const Schema& schema, PrivateTerms terms);
  ~PrivateBus();

  void learn(std::span<const Event> events);
  /// False if there were more serials or NAMEs than can be kept: nothing can be promised.
  bool settle();
  void plan(std::span<const Event> events);
  void planned();
  void restart();
  /// The events as they may be shown; valid until the next call.
  std::span<const Event> conceal(std::span<const Event> events);

  PrivateTerms& terms() { return terms_; }
  const PrivateTerms& terms() const { return terms_; }
  /// Of the latest run of conceal().
  PrivateTally tally() const;

 private:
  class Learning;
  class Planning;
  struct Rewritten {
    std::uint64_t frame;
    std::array<std::uint8_t, 8> payload;
  };
  struct Opaque {
    std::array<std::uint8_t, 64> last{};
    std::uint8_t len = 0;
    std::uint64_t changes = 0;
  };
  bool is_packet(const Event& frame, bool& fast) const;
  void plan_message(const Message& message);
  void clear_frame(std::uint64_t frame);
  bool is_cleared(std::uint64_t frame) const;
  void name_buses();
  RecorderNote concealed(const Event& event, const RecorderNote& note);
  void learn_pool_part(const RecorderNote& note);
  void conceal_pools();
  void conceal_frame(const Event& frame, std::span<std::uint8_t> data);
  void conceal_packet(const Event& frame, std::span<std::uint8_t> data, bool fast);
  void conceal_opaque(const Event& frame, std::span<std::uint8_t> data);

  PrivateTerms terms_;
  bool room_ = true;
  std::map<BusIndex, std::string> bus_names_;  // after settle(): as they are shown
  std::vector<Pgn> long_pgns_;
  std::unique_ptr<Learning> learning_;
  std::unique_ptr<Planning> planning_;
  PacketTrail trail_;
  PrivateRules planned_rules_, rules_;
  PoolParts pool_parts_;
  std::map<std::uint64_t, std::vector<std::string>> parts_begun_;  // of a pool that a slice carries, by the client's NAME
  std::vector<std::pair<std::vector<std::string>, PoolParts::Whole>> pools_;
  std::size_t pool_bytes_ = 0;
  std::map<std::string, std::string> concealed_parts_;
  std::vector<bool> cleared_;  // by frame number: its bytes are known to be harmless, or are in rewritten_
  std::vector<Rewritten> rewritten_;  // by frame number
  std::unordered_map<std::uint64_t, Opaque> opaque_;
  PrivateTally tally_;
  std::vector<Event> out_;
  std::vector<std::array<std::uint8_t, 64>> payloads_;
  std::deque<Notice> notices_;
};

}  // namespace tramlog
