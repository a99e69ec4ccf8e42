// Aborts of TP and ETP, which may come from either side. Internal to the transfers.
#pragma once

#include "isobus/transfer_core.hpp"

namespace tramlog {

/// A connection abort for `pgn`: B1 = 255, B2 = reason. It has the same form from sender and receiver; the
/// session is the one of these two addresses, in either direction, that carries the PGN. `protocol` is
/// rts_cts or etp.
void take_abort(TransferCore& core, Carrier protocol, Pgn pgn, const Event& frame);

}  // namespace tramlog
