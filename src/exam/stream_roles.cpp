#include "exam/stream_roles.hpp"

#include "isobus/acknowledgement.hpp"
#include "isobus/diagnostics.hpp"
#include "isobus/identification.hpp"
#include "isobus/network.hpp"
#include "isobus/transfers.hpp"
#include "isobus/working_set.hpp"

namespace tramlog {

StreamRole role_of(Pgn pgn, Address destination) {
  constexpr SpanNs k100 = 100 * kMillisecond;
  switch (pgn) {
    case 0xFE48:   // wheel-based speed and distance
    case 0xFE49:   // ground-based speed and distance
    case 0xF022:   // machine selected speed
    case 0xFE45:   // rear hitch status
    case 0xFE46:   // front hitch status
    case 0xAC00:   // guidance machine info
    case 0x1F801:  // 129025 position, rapid
      return {PaceRole::cyclic, k100, 0};
    case 0x1F802:  // 129026 course and speed over ground
      return {PaceRole::cyclic, 250 * kMillisecond, 0};
    case 0xE600:  // VT to ECU; the status to all comes each second, the rest answers the client
      if (destination == kGlobalAddress) return {PaceRole::cyclic, kSecond, 3 * kSecond};
      return {PaceRole::never, 0, 0};
    case 0xCB00:  // process data; only the TC's status to all has a pace of its own
      if (destination == kGlobalAddress) return {PaceRole::cyclic, 2 * kSecond, 6 * kSecond};
      return {PaceRole::learned, 0, 0};
    case 0xAB00:  // file server status
      if (destination == kGlobalAddress) return {PaceRole::cyclic, 2 * kSecond, 6 * kSecond};
      return {PaceRole::never, 0, 0};
    case 0xFE43:  // rear PTO output shaft: while engaged
    case 0xFE44:  // front PTO output shaft
    case 0xFE42:  // hitch and PTO commands: while active
    case 0xFE47:  // maintain power: while needed
    case 0xFE0F:  // language: on change and request
    case 0xFEE6:  // time and date: on request
    case 0xFE09:  // tractor facilities
    case 0xFD43:  // machine selected speed command: while used
    case 0xAD00:  // guidance system command: while guiding
    case 0xF0E4:  // heartbeat: runs only for whoever asked, and says itself when it ends
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
      return {PaceRole::never, 0, 0};
    default:
      return {Transfers::is_transport(pgn) ? PaceRole::never : PaceRole::learned, 0, 0};
  }
}

bool is_subscribed(Pgn pgn) {
  switch (pgn) {
    case kPgnAddressClaimed:
    case kPgnRequest:
    case kPgnAcknowledgement:
    case kPgnCommandedAddress:
    case kPgnWorkingSetMaster:
    case kPgnWorkingSetMember:
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
