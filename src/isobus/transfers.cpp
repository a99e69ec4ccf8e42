#include "isobus/transfers.hpp"

#include <algorithm>
#include <utility>

#include "isobus/etp_session.hpp"
#include "isobus/fast_packet.hpp"
#include "isobus/tp_session.hpp"
#include "isobus/transfer_core.hpp"

namespace tramlog {
namespace {

constexpr Pgn kTpControl = 0xEC00;
constexpr Pgn kTpData = 0xEB00;
constexpr Pgn kEtpControl = 0xC800;
constexpr Pgn kEtpData = 0xC700;

}  // namespace

class Transfers::Impl {
 public:
  Impl(TransferSink& sink, TransferLimits limits, std::vector<Pgn> more)
      : more_fast_packet(std::move(more)), core(sink, limits) {
    std::sort(more_fast_packet.begin(), more_fast_packet.end());
  }

  std::vector<Pgn> more_fast_packet;  // sorted
  TransferCore core;
  TpSessions tp{core};
  EtpSessions etp{core};
  FastPacketSessions fast{core};
};

Transfers::Transfers(TransferSink& sink, TransferLimits limits, std::vector<Pgn> more_fast_packet)
    : impl_(std::make_unique<Impl>(sink, limits, std::move(more_fast_packet))) {}
Transfers::~Transfers() = default;

bool Transfers::is_fast_packet(Pgn pgn) {
  switch (pgn) {
    case 126208:  // group function
    case 126464:  // PGN lists
    case 126996:  // product information
    case 126998:  // configuration information
    case 129029:  // GNSS position data
    case 129044:  // datum
    case 129284:  // navigation data
    case 129538:  // GNSS control status
    case 129540:  // satellites in view
    case 129542:  // position noise statistics
    case 130577:  // direction data
      return true;
    default:
      return false;
  }
}

bool Transfers::takes_as_fast_packet(Pgn pgn) const {
  const std::vector<Pgn>& more = impl_->more_fast_packet;
  return is_fast_packet(pgn) || (!more.empty() && std::binary_search(more.begin(), more.end(), pgn));
}

void Transfers::take(const Event& frame) {
  if (!frame.is_iso11783()) return;
  const Pgn pgn = pgn_of(frame.id);
  if (!is_transport(pgn) && !takes_as_fast_packet(pgn)) return;
  impl_->core.advance(frame.time);
  // The capture holds less of this frame than was on the wire: that is a loss of ours, not a fault of the
  // sender.
  if ((frame.flags & kShortData) != 0) impl_->core.note_loss(frame.bus, frame.time, frame.time);
  switch (pgn) {
    case kTpControl:
      return impl_->tp.take_control(frame);
    case kTpData:
      return impl_->tp.take_data(frame);
    case kEtpControl:
      return impl_->etp.take_control(frame);
    case kEtpData:
      return impl_->etp.take_data(frame);
    default:
      return impl_->fast.take(frame);
  }
}

void Transfers::advance(TimeNs now) {
  impl_->core.advance(now);
}
void Transfers::note_loss(BusIndex bus, TimeNs from, TimeNs to) {
  impl_->core.note_loss(bus, from, to);
}
void Transfers::finish(TimeNs end) {
  impl_->core.finish(end);
}
const TransferStats& Transfers::stats() const {
  return impl_->core.stats;
}

}  // namespace tramlog
