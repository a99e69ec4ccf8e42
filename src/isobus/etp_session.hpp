// ETP: PGN 51200 (connection management) and 50944 (data), as a listener hears them (fact sheet, network and
// diagnostics, 5.2). Internal to the transfers.
#pragma once

#include "isobus/transfer_core.hpp"

namespace tramlog {

class EtpSessions {
 public:
  explicit EtpSessions(TransferCore& core) : core_(core) {}
  void take_control(const Event& frame);
  void take_data(const Event& frame);

 private:
  void request_to_send(Pgn pgn, const Event& frame);
  void clear_to_send(Pgn pgn, const Event& frame);
  void data_packet_offset(Pgn pgn, const Event& frame);
  void end_of_message(Pgn pgn, const Event& frame);
  TransferSession* session_between(Address sender, Address receiver, Pgn pgn, const Event& frame);

  TransferCore& core_;
};

}  // namespace tramlog
