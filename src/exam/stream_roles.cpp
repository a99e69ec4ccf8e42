#include "exam/stream_roles.hpp"

#include "isobus/acknowledgement.hpp"
#include "isobus/diagnostics.hpp"
#include "isobus/identification.hpp"
#include "isobus/network.hpp"
#include "isobus/transfers.hpp"
#include "isobus/working_set.hpp"

namespace tramlog {

StreamRole role_of(const Schema& schema, std::uint32_t id) {
  const Pgn pgn = pgn_of(id);
  const bool to_all = destination_of(id) == kGlobalAddress;
  switch (pgn) {
    case 0xE600:  // VT to ECU; the status to all comes each second, the rest answers the client
      if (to_all) return {PaceRole::cyclic, kSecond, 3 * kSecond};
      return {PaceRole::never, 0, 0};
    case 0xCB00:  // process data; only the TC's status to all has a pace of its own
      if (to_all) return {PaceRole::cyclic, 2 * kSecond, 6 * kSecond};
      return {PaceRole::learned, 0, 0};
    case 0xAB00:  // file server status
      if (to_all) return {PaceRole::cyclic, 2 * kSecond, 6 * kSecond};
      return {PaceRole::never, 0, 0};
    case 0xE700:  // ECU to VT and client to file server: maintenance each second or two while connected,
                  // which is
    case 0xAA00:  // most of a client's life; much else goes the same way
      return {PaceRole::learned, 0, 0};
    case kPgnRequest:
    case kPgnAcknowledgement:
    case 0xC900:
    case 0xCA00:
    case 0xCC00:
    case kPgnAddressClaimed:
    case kPgnCommandedAddress:
    case kPgnWorkingSetMaster:
    case kPgnWorkingSetMember:
    case kPgnDm1:  // each second while a code is active, else silent (ISO 11783)
    case kPgnDm2:
    case kPgnDm3:
    case kPgnDm11:
    case kPgnDm13:
    case kPgnDm22:
    case kPgnSoftwareIdentification:
    case kPgnEcuIdentification:
    case kPgnProductIdentification:
    case kPgnComponentIdentification:
    case kPgnFunctionalities:
    case 0xFE47:  // maintain power: while needed
      return {PaceRole::never, 0, 0};
    default:
      break;
  }
  if (Transfers::is_transport(pgn)) return {PaceRole::never, 0, 0};
  // The schema's period is that of the message, not of its frames.
  if (Transfers::is_fast_packet(pgn)) return {PaceRole::learned, 0, 0};
  const MessageSpec* spec = schema.find(id, true);
  if (spec == nullptr) return {PaceRole::learned, 0, 0};
  switch (spec->sending) {
    case Sending::cyclic:
      if (spec->period > 0) return {PaceRole::cyclic, spec->period, 0};
      break;
    case Sending::while_active:
    case Sending::on_request:
      return {PaceRole::never, 0, 0};
    case Sending::on_change:  // may have a rhythm all the same: a terminal's clients speak each second
    case Sending::unknown:
      break;
  }
  return {PaceRole::learned, 0, 0};
}

bool is_subscribed(Pgn pgn) {
  switch (pgn) {
    case kPgnAddressClaimed:
    case kPgnRequest:
    case kPgnAcknowledgement:
    case kPgnCommandedAddress:
    case kPgnWorkingSetMaster:
    case kPgnWorkingSetMember:
    case 0xE600:  // VT versions
    case 0xE700:
    case 0xFEF7:  // supply voltage
    case 0xFE48:  // key switch
    case 0xF004:  // engine speed
    case 0xF0E4:  // heartbeat
    case kPgnDm1:
    case kPgnDm2:
    case kPgnDm13:
    case kPgnDm22:
    case kPgnSoftwareIdentification:
    case kPgnEcuIdentification:
    case kPgnProductIdentification:
    case kPgnComponentIdentification:
    case kPgnFunctionalities:
      return true;
    default:
      return Transfers::is_transport(pgn) || Transfers::is_fast_packet(pgn);
  }
}

}  // namespace tramlog
