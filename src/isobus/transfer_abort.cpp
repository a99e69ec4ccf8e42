#include "isobus/transfer_abort.hpp"

#include <fmt/format.h>

#include <iterator>

namespace tramlog {

void take_abort(TransferCore& core, Carrier protocol, Pgn pgn, const Event& frame) {
  const Address by = source_of(frame.id);
  const Address to = destination_of(frame.id);
  const std::uint8_t reason = frame.data[1];
  const Carrier outgoing = protocol == Carrier::rts_cts && to == kGlobalAddress ? Carrier::bam : protocol;
  const SessionKey as_sender = session_key(outgoing, frame.bus, by, to);
  const SessionKey as_receiver = session_key(protocol, frame.bus, to, by);

  TransferSession* session = core.find(as_sender);
  if (session && session->facts.pgn != pgn) session = nullptr;
  TransferSession* other = core.find(as_receiver);
  if (other && other->facts.pgn != pgn) other = nullptr;
  // The same PGN both ways at once: the one that was silent for longer is the likelier to be given up.
  if (!session || (other && other->facts.end < session->facts.end)) session = other;

  if (!session) {
    if (!core.abort_late(as_sender, pgn, reason, frame)) core.abort_late(as_receiver, pgn, reason, frame);
    return;
  }
  core.touch(*session, frame);
  session->facts.abort_reason = reason;
  session->facts.aborted_by = by;
  core.end(*session, TransferOutcome::aborted, frame.time);
}

std::string abort_reason_text(std::uint8_t reason, Carrier protocol) {
  static constexpr const char* kTexts[] = {
      "reserved (reason 0)",
      "already in one or more sessions, cannot take another",
      "resources needed elsewhere",
      "timeout",
      "clear to send received while sending",
      "maximum retransmit requests reached",
      "unexpected data packet",
      "bad sequence number",
      "duplicate sequence number",
      "message over 1785 bytes",
      "data packet offset: PGN does not match",
      "data packet offset: more packets than cleared to send",
      "data packet offset: bad offset",
      "deprecated (reason 13)",
      "clear to send: PGN does not match",
      "clear to send: asks beyond the message",
  };
  if (reason == 9 && protocol == Carrier::etp) return "unexpected data packet offset";
  if (reason < std::size(kTexts)) return kTexts[reason];
  if (reason == 250) return "other";
  return fmt::format("reserved (reason {})", reason);
}

}  // namespace tramlog
