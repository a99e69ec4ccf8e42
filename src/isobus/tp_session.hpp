// TP: PGN 60416 (connection management) and 60160 (data), as a listener hears them (fact sheet, network and
// diagnostics, 5.1). Internal to the transfers.
#pragma once

#include "isobus/transfer_core.hpp"

namespace tramlog {

class TpSessions {
 public:
  explicit TpSessions(TransferCore& core) : core_(core) {}
  void take_control(const Event& frame);
  void take_data(const Event& frame);

 private:
  void begin(Carrier protocol, Pgn pgn, const Event& frame);
  void clear_to_send(Pgn pgn, const Event& frame);
  void end_of_message(Pgn pgn, const Event& frame);
  TransferSession* session_of_receiver(Pgn pgn, const Event& frame);

  TransferCore& core_;
};

}  // namespace tramlog
