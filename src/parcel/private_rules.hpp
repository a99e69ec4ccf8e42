// What in a message is private and what is to stand there instead, by parameter group number. Works on whole
// messages, single frames and transfers alike.
#pragma once

#include <map>
#include <set>
#include <span>
#include <tuple>
#include <vector>

#include "can/event.hpp"
#include "isobus/message.hpp"
#include "parcel/made_up_track.hpp"
#include "parcel/private_terms.hpp"

namespace tramlog {

struct MessageHead {
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0, destination = kGlobalAddress;
};

class PrivateRules {
 public:
  /// Nobody looked at what may be in it (parcel/private_allowed.hpp), or only its maker can read it (61184,
  /// 65280 to 65535, 126720, 130816 to 131071). No schema of a user changes that.
  static bool is_opaque(const MessageHead& head);

  /// NAMEs and serials of a message; false if there are more than PrivateTerms can hold.
  static bool learn(const MessageHead& head, Bytes data, PrivateTerms& terms);

  /// Makes the message private in place, its length kept. Opaque ones become FF. Positions depend on those
  /// before them: hand over the messages of a (bus, source, PGN) in time order, in one run.
  void rewrite(const MessageHead& head, std::span<std::uint8_t> data, const PrivateTerms& terms);

  /// What was learned, wherever it stands in the message; the last step of rewrite(). True if there was any.
  static bool replace_known(const MessageHead& head, std::span<std::uint8_t> data, const PrivateTerms& terms);

  /// Objects of a device description (its pool, or part of it): the same two steps. What is there of a DVC
  /// that is cut off by the end is blanked, because half a serial is none that was learned.
  static bool learn_pool(Bytes pool, PrivateTerms& terms);
  static void rewrite_pool(std::span<std::uint8_t> pool, const PrivateTerms& terms);

  std::uint64_t positions() const { return positions_; }  // messages with a position that were rewritten

 private:
  void rewrite_rapid_position(const MessageHead& head, std::span<std::uint8_t> data);
  void rewrite_vehicle_position(const MessageHead& head, std::span<std::uint8_t> data);
  void rewrite_position_data(const MessageHead& head, std::span<std::uint8_t> data);
  void rewrite_transfer(const MessageHead& head, std::span<std::uint8_t> pool, const PrivateTerms& terms);
  MadeUpTrack& track_of(const MessageHead& head, double step_deg);

  std::map<std::tuple<BusIndex, Address, Pgn>, MadeUpTrack> tracks_;
  /// Whose latest transfer of a device description ended within a DVC: bus, source, destination.
  std::set<std::tuple<BusIndex, Address, Address>> cut_devices_;
  /// The true end of that transfer: a text, and a serial in it, may go on in the next one. Bounded.
  std::map<std::tuple<BusIndex, Address, Address>, std::vector<std::uint8_t>> ends_;
  static constexpr std::size_t kMostEnds = 4096;
  std::uint64_t positions_ = 0;
};

/// Whether a message tells a position that is not on the made-up track (its longitude is not 0).
bool tells_true_position(const MessageHead& head, Bytes data);

}  // namespace tramlog
