// Passive reassembly of multi-frame messages: TP (BAM, RTS/CTS), ETP and fast packet, any number at once.
// Fact sheet, network and diagnostics, 5.1 to 5.4. A pure state machine: time comes with the frames.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "can/event.hpp"
#include "isobus/message.hpp"

namespace tramlog {

enum class TransferOutcome : std::uint8_t {
  complete,
  aborted,       // an abort by either side
  timed_out,     // no frame of the session for T3 (1250 ms; BAM and fast packet 750 ms) and no end of message
  interrupted,   // a new RTS/BAM/first frame of the same direction came before the end
  out_of_order,  // a sequence gap that was not repaired (RTS/CTS, ETP: judged when the end is acknowledged)
  unseen,        // the logger itself lost frames inside it: no verdict
  unfinished,    // still running when the capture ended: no verdict
};

/// How one transfer ended, complete ones included.
struct TransferEnd {
  Carrier protocol = Carrier::bam;
  TransferOutcome outcome = TransferOutcome::complete;
  BusIndex bus = 0;
  Address source = 0;  // of the data
  Address destination = kGlobalAddress;
  Pgn pgn = 0;
  std::uint64_t bytes_expected = 0;
  std::uint64_t bytes_received = 0;  // different payload bytes seen, at most bytes_expected
  TimeNs start = 0;
  TimeNs end = 0;  // last frame of the session that was heard
  std::uint64_t first_frame = 0;
  std::uint64_t last_frame = 0;
  std::optional<std::uint8_t> abort_reason;  // B2 of the abort (fact sheet 5.1)
  std::optional<Address> aborted_by;
};

/// "timeout", "resources needed elsewhere", .. (fact sheet 5.1); one reason means different things in TP and
/// ETP.
std::string abort_reason_text(std::uint8_t reason, Carrier protocol = Carrier::rts_cts);

/// Receives results; called per message and per transfer, never per frame. A message is handed over as soon
/// as its last packet is in, which for RTS/CTS and ETP is before the transfer ends. A failed transfer is told
/// only TransferLimits::loss_notice_delay after its end, because a loss may become known that late;
/// everything else at once.
class TransferSink {
 public:
  virtual ~TransferSink() = default;
  virtual void on_message(const Message& message) = 0;
  virtual void on_transfer_end(const TransferEnd& end) = 0;
};

/// Hard caps against hostile traffic; a cap that is hit is counted in TransferStats.
struct TransferLimits {
  std::size_t sessions = 2048;                // open at once, all buses; beyond it the oldest is given up
  std::size_t message_bytes = 256 * 1024;     // longer messages are tracked, but not handed over
  std::size_t total_bytes = 8 * 1024 * 1024;  // payload held by all open sessions together
  /// Failures are held back this long: the recorder's own drops are told once a second. 0 = told at once.
  SpanNs loss_notice_delay = 1200 * kMillisecond;
};

struct TransferStats {
  std::uint64_t orphan_packets = 0;  // data packets of a session whose beginning was not heard
  std::uint64_t malformed = 0;  // frames that contradict the standard (size 0, wrong packet count, too short)
  std::uint64_t repeated_packets = 0;  // data packets heard again
  std::uint64_t sessions_given_up = 0;
  std::uint64_t messages_not_kept = 0;  // complete, but over the byte caps
};

class Transfers {
 public:
  /// `more_fast_packet`: PGNs that travel as fast packet besides those of is_fast_packet(); a user's schema
  /// may know some.
  explicit Transfers(TransferSink& sink, TransferLimits limits = {}, std::vector<Pgn> more_fast_packet = {});
  ~Transfers();
  Transfers(const Transfers&) = delete;
  Transfers& operator=(const Transfers&) = delete;

  /// PGNs that carry TP and ETP: feed every such frame to take().
  static constexpr bool is_transport(Pgn pgn) {
    return pgn == 0xEC00 || pgn == 0xEB00 || pgn == 0xC800 || pgn == 0xC700;
  }
  /// PGNs that travel as fast packet on an ISO 11783 or NMEA 2000 bus (fact sheet 5.3, 6.6).
  static bool is_fast_packet(Pgn pgn);
  /// is_fast_packet(), or given to the constructor.
  bool takes_as_fast_packet(Pgn pgn) const;

  /// One ISO 11783 data frame of a transport or fast-packet PGN. Frames of other PGNs are ignored. Includes
  /// advance(frame.time). If time steps back by more than a second, open sessions end unseen: the clock was
  /// set.
  void take(const Event& frame);

  /// Time has come this far: ends sessions whose timeout passed before `now`. Cheap when none is open.
  void advance(TimeNs now);

  /// The logger lost frames of this bus between `from` and `to`: sessions that touch it can only end complete
  /// or unseen. May be called up to TransferLimits::loss_notice_delay late.
  void note_loss(BusIndex bus, TimeNs from, TimeNs to);

  /// No more frames will come; open sessions end as timed out if their timeout lies before `end`, else
  /// unfinished.
  void finish(TimeNs end);

  const TransferStats& stats() const;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
