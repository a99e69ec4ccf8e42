// Fast packet of NMEA 2000 (fact sheet, network and diagnostics, 5.3). Internal to the transfers.
#pragma once

#include "isobus/transfer_core.hpp"

namespace tramlog {

class FastPacketSessions {
 public:
  explicit FastPacketSessions(TransferCore& core) : core_(core) {}
  /// A frame of a PGN that travels as fast packet.
  void take(const Event& frame);

 private:
  void begin(SessionKey key, Pgn pgn, const Event& frame);
  void go_on(SessionKey key, const Event& frame);

  TransferCore& core_;
};

}  // namespace tramlog
